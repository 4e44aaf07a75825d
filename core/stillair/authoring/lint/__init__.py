"""What is wrong with packs, told to who writes them before anybody works by them.

`settled`, `reach`, `groups`, `unused`, `told` and `nowhere` each look for one kind of fault in a `Subject`;
`report` brings them together by profile; `sarif` writes them for other programs.
"""

from .report import PROFILES, Accepted, Report, lint
from .sarif import sarif

__all__ = ["PROFILES", "Accepted", "Report", "lint", "sarif"]
