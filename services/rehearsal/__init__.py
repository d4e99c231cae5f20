"""All cores together in virtual time: the test bench, and the answer to `what if`."""
