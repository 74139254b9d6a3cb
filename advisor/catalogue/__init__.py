"""Reading the catalogue and the products: declarations of every key, rules, files."""
