"""Pictures for the README, made by the program itself."""
