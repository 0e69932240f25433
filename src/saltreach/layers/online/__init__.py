"""What online services are asked and what they answer: texts and records, no network."""
