"""The page in the browser where a job is done by eye and hand: it sends gestures, Python answers."""
