"""One SELECT a file, named as the table it makes; parameters as $name."""
