"""From picture px to plan mm, with its uncertainty."""
