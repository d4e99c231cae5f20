"""The contract: messages, topics, the plant file, profiles. No input or output, imports nothing of ours."""
