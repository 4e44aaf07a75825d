"""What the table builder refuses, and the traps of the property library it guards against."""

from __future__ import annotations

import copy
import math
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import CoolProp
import CoolProp.CoolProp
import pytest
from stillair_refrigerants import build_tables, catalogue, saturation
from stillair_refrigerants.build_tables import TableError, check
from stillair_refrigerants.model import SAME_MOLAR_MASS, Model, ModelError, model

BLENDS = [name for name in catalogue.refrigerants().names if len(catalogue.parts(name)) > 1]


@pytest.fixture
def record() -> saturation.Record:
    return copy.deepcopy(saturation.load()["refrigerants"]["R-407C"])


def test_a_good_table_passes(record: saturation.Record) -> None:
    check("R-407C", record)


def test_a_table_that_does_not_rise_is_refused(record: saturation.Record) -> None:
    record["dew"][10] = record["dew"][9]
    with pytest.raises(TableError, match="R-407C: the dew line does not rise at"):
        check("R-407C", record)


@pytest.mark.parametrize("factor", [1.01, 0.99])
def test_a_table_with_a_jump_of_one_percent_is_refused(record: saturation.Record, factor: float) -> None:
    record["bubble"][20] *= factor
    with pytest.raises(TableError, match="R-407C: the bubble line jumps at"):
        check("R-407C", record)


def test_a_table_with_dew_above_bubble_is_refused(record: saturation.Record) -> None:
    record["bubble"], record["dew"] = record["dew"], record["bubble"]
    with pytest.raises(TableError, match="R-407C: dew lies above bubble at -60 °F"):
        check("R-407C", record)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, 0.0, -5.0])
def test_a_table_with_no_pressure_at_a_point_is_refused(record: saturation.Record, bad: float) -> None:
    record["bubble"][0] = bad
    with pytest.raises(TableError, match="R-407C: the bubble line has a point that is not a pressure"):
        check("R-407C", record)


def test_a_table_with_a_point_missing_is_refused(record: saturation.Record) -> None:
    del record["dew"][-1]
    with pytest.raises(TableError, match="dew line"):
        check("R-407C", record)


def test_a_table_whose_liquid_grows_heavier_as_it_warms_is_refused(record: saturation.Record) -> None:
    record["liquid_density"][5] = record["liquid_density"][4]
    with pytest.raises(TableError, match="density of the liquid"):
        check("R-407C", record)


def test_building_again_gives_the_table_in_the_file() -> None:
    for name in ("R-744", "R-454B"):
        again = build_tables.build(name)
        kept = saturation.load()["refrigerants"][name]
        assert again["fahrenheit"] == kept["fahrenheit"]
        assert again["bubble"] == pytest.approx(kept["bubble"], rel=1e-6)
        assert again["dew"] == pytest.approx(kept["dew"], rel=1e-6)


def test_nothing_is_written_when_one_table_fails(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def build(name: str) -> saturation.Record:
        if name == "R-123":
            raise TableError("R-123: the bubble line jumps at 40 °F")
        return saturation.load()["refrigerants"][name]

    saturation.load()
    monkeypatch.setattr(build_tables, "build", build)
    monkeypatch.setattr(saturation, "FILE", tmp_path / "saturation.json")
    assert build_tables.main() == 1
    assert capsys.readouterr().err == "R-123: the bubble line jumps at 40 °F\nnothing was written\n"
    assert list(tmp_path.iterdir()) == []


def test_what_is_written_is_read_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kept = saturation.load()
    monkeypatch.setattr(build_tables, "build", lambda name: kept["refrigerants"][name])
    monkeypatch.setattr(saturation, "FILE", tmp_path / "saturation.json")
    assert build_tables.main() == 0
    saturation.load.cache_clear()
    try:
        assert saturation.load() == kept
    finally:
        saturation.load.cache_clear()


class Swapped:
    """A state object that takes mass fractions for mole fractions."""

    def __init__(self, backend: str, fluids: str) -> None:
        self.state = self.real(backend, fluids)

    real = CoolProp.CoolProp.AbstractState

    def set_mass_fractions(self, shares: list[float]) -> None:
        self.state.set_mole_fractions(shares)

    def __getattr__(self, name: str) -> object:
        return getattr(self.state, name)


@pytest.mark.parametrize("name", BLENDS)
def test_mass_fractions_taken_for_mole_fractions_are_noticed(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(CoolProp.CoolProp, "AbstractState", Swapped)
    with pytest.raises(ModelError, match="molar mass"):
        Model(name)


@pytest.mark.parametrize("name", BLENDS)
def test_the_model_of_a_blend_weighs_what_its_parts_weigh(name: str) -> None:
    assert Model(name).state.molar_mass() == pytest.approx(catalogue.molar_mass(name), rel=SAME_MOLAR_MASS)


def test_below_the_triple_point_there_is_no_answer() -> None:
    carbon_dioxide = Model("R-744")
    with pytest.raises(ModelError, match=r"210\.00 K is below the triple point"):
        carbon_dioxide.saturated(210.0, "bubble")
    with pytest.raises(ModelError, match=r"210\.00 K is below the triple point"):
        carbon_dioxide.density(210.0, 1e7, "liquid")


def test_above_the_critical_point_there_is_no_answer() -> None:
    with pytest.raises(ModelError, match="R-744: no bubble point"):
        Model("R-744").saturated(310.0, "bubble")


class Silent:
    """A state object that fails without saying so: what is read after a failed update is not finite."""

    def __init__(self, value: float) -> None:
        self.value = value

    def update(self, *_: object) -> None: ...

    def specify_phase(self, _: object) -> None: ...

    def Ttriple(self) -> float:
        return 100.0

    def p(self) -> float:
        return self.value

    def rhomass(self) -> float:
        return self.value

    def Bvirial(self) -> float:
        return self.value


@pytest.mark.parametrize("value", [-math.inf, math.inf, math.nan])
def test_a_value_that_is_not_finite_is_no_answer(value: float) -> None:
    broken = Model("R-22")
    broken.state = Silent(value)  # type: ignore[assignment]
    with pytest.raises(ModelError, match="not finite"):
        broken.saturated(290.0, "dew")
    with pytest.raises(ModelError, match="not finite"):
        broken.density(290.0, 1e5, "vapour")
    with pytest.raises(ModelError, match="second virial"):
        broken.second_virial(290.0)


@pytest.mark.parametrize("name", BLENDS)
def test_asking_for_a_density_does_not_spoil_the_next_saturation_point(name: str) -> None:
    used = model(name)
    before = used.saturated(290.0, "bubble")
    used.density(290.0, 1e5, "vapour")
    used.second_virial(290.0)
    assert used.saturated(290.0, "bubble") == pytest.approx(before, rel=1e-9)


def test_each_thread_has_its_own_model_and_the_same_answer() -> None:
    with ThreadPoolExecutor(4) as pool:
        densities = list(pool.map(lambda _: model("R-410A").density(290.0, 1e5, "vapour"), range(200)))
        others = set(pool.map(lambda _: id(model("R-410A")), range(200)))
    assert len(set(densities)) == 1
    assert id(model("R-410A")) not in others
