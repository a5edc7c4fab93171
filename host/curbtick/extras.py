"""What an extra of this package brings, so that a hint names what can really be installed.

The package is in no public index: `pip install 'curbtick[demo]'` might bring somebody else's.
"""

from importlib.metadata import PackageNotFoundError, requires


def how_to_install(extra: str) -> str:
    """The command that installs what an extra of pyproject.toml lists, such as "install"; words in a bare checkout."""
    try:
        lines = requires("curbtick") or []
    except PackageNotFoundError:
        lines = []
    marked = (line.partition(";") for line in lines)
    packages = [
        name.strip() for name, _, marker in marked if f"extra == '{extra}'" in marker.replace('"', "'")
    ]
    if not packages:
        return f"`pip install '.[{extra}]'` in a clone of the project"
    return "`pip install " + " ".join(f"'{package}'" for package in packages) + "`"
