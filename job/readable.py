"""Whether a name from the disk can be written as text."""


def is_readable_text(name: str) -> bool:
    """Say whether a name can be written into files and onto pages; old disks hold names that are no text at all."""
    try:
        name.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True
