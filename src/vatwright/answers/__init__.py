"""What a person reads: one file an answer, from its record to blocks of words, tables and pictures."""
