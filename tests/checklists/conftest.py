"""The bundled packs, compiled together as a job uses them."""

from __future__ import annotations

import pytest
from stillair.assess import Program, compile_packs
from stillair.hooks import Plugins
from stillair.pack import read_pack


@pytest.fixture(scope="session")
def program() -> Program:
    plugins = Plugins.load()
    packs = [read_pack(folder, plugins=plugins.versions()) for folder in plugins.packs]
    return compile_packs(packs, plugins.calculators, plugins.catalogues)
