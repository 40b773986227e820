"""Templates, the stylesheet and fonts of the pages."""
