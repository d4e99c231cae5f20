"""The trade's arithmetic as questions: on the command line, and as data for whoever shows them."""
