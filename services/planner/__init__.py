"""Which beer goes where and when: chambers, reservoirs and circuits against what people wish."""
