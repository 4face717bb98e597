"""The pages by stage: each shows what is known, what is missing, and the one next thing to do."""
