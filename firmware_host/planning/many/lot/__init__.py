"""Parts that differ in a few numbers alone, taken together: what is arithmetic is reckoned once for all of them."""
