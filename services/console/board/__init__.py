"""The board, drawn purely: what is known of chambers in, SVG and HTML out."""
