"""Settings: which layer wins, and that every slip is one clear sentence."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st

from netwatch.numbers import DEFAULTS, Numbers
from netwatch.settings import FILE, NUMBERS, Settings, SettingsError, load, split_option

Load = Callable[..., Settings]


@pytest.fixture
def lay(tmp_path: Path) -> Load:
    """Load from files given as text, none of this machine's own settings."""

    def load_them(
        options: dict[str, str] | None = None, *, env: dict[str, str] | None = None,
        config: str | None = None, here: str | None = None, home: str | None = None,
    ) -> Settings:
        for name, text in (("config", config), ("here", here), ("home", home)):
            folder = tmp_path / name
            folder.mkdir(exist_ok=True)
            (folder / FILE).unlink(missing_ok=True)
            if text is not None:
                (folder / FILE).write_text(text, encoding="utf-8")
        return load(
            options, config=tmp_path / "config" / FILE if config is not None else None,
            environment=env or {}, here=tmp_path / "here", home=tmp_path / "home",
        )

    return load_them


def test_nothing_set_gives_the_defaults(lay: Load) -> None:
    settings = lay()
    assert settings.numbers == DEFAULTS == Numbers()
    assert (settings.words.fail_on, settings.words.phase, settings.words.join) == ("soon", "building", "ask")
    assert settings.words.vantage == "auto"
    assert settings.changed() == ()


def test_the_order_of_the_layers(lay: Load) -> None:
    """option > environment > --config > ./netwatch.toml > the user's own file."""
    files = {"home": "hole_s = 1.0", "here": "hole_s = 2.0", "config": "hole_s = 3.0"}
    environment, option = {"NETWATCH_HOLE_S": "4"}, {"hole_s": "5"}
    assert lay(home=files["home"]).numbers.hole_s == 1
    assert lay(home=files["home"], here=files["here"]).numbers.hole_s == 2
    assert lay(**files).numbers.hole_s == 3
    assert lay(**files, env=environment).numbers.hole_s == 4
    settings = lay(option, **files, env=environment)
    assert settings.numbers.hole_s == 5
    assert settings.origins == {"hole_s": "the command line"}


def test_layers_that_set_different_keys_add_up(lay: Load) -> None:
    settings = lay({"fail_on": "tidy"}, env={"NETWATCH_FROM": "mirror"}, here='phase = "show"', home="cap_hosts = 9")
    assert (settings.words.fail_on, settings.words.vantage, settings.words.phase) == ("tidy", "mirror", "show")
    assert settings.numbers.cap_hosts == 9
    assert settings.origins["from"] == "NETWATCH_FROM"


def test_a_file_with_a_byte_order_mark_is_read(lay: Load) -> None:
    assert lay(here="\ufeffhole_s = 7.5\n").numbers.hole_s == 7.5


def test_a_whole_number_will_do_for_a_time(lay: Load) -> None:
    value = lay(here="hole_s = 7").numbers.hole_s
    assert value == 7
    assert isinstance(value, float)


@pytest.mark.parametrize("name", [f.name for f in fields(Numbers)])
def test_every_number_can_be_set(lay: Load, name: str) -> None:
    value = 0.375 if NUMBERS[name].metadata["unit"] == "share" else 77
    settings = lay({name: str(value)})
    assert getattr(settings.numbers, name) == value
    assert type(getattr(settings.numbers, name)) is type(getattr(DEFAULTS, name))
    assert [change.name for change in settings.changed()] == [name]


def test_a_standards_number_is_told_as_such(lay: Load) -> None:
    """E1.31-2018 Appendix A: E131_NETWORK_DATA_LOSS_TIMEOUT is 2.5 s; no standard says when two sources fight."""
    loss, fight = lay({"source_silent_s": "4", "fight_after_s": "1"}).changed()
    assert loss.standard
    assert str(loss).startswith("source_silent_s = 4 s, not the standard's 2.5 (E1.31-2018")
    assert not fight.standard
    assert "the standard" not in str(fight)
    assert str(fight).startswith("fight_after_s = 1 s instead of 3")


def test_setting_the_default_is_no_change(lay: Load) -> None:
    settings = lay({"source_silent_s": "2.5"})
    assert settings.changed() == ()
    assert settings.origins == {"source_silent_s": "the command line"}


@pytest.mark.parametrize(("text", "said"), [
    ("sorce_silent_s = 4", "there is no setting 'sorce_silent_s'; did you mean 'source_silent_s'?"),
    ("Hole_S = 4", "did you mean 'hole_s'?"),
    ("fial_on = 'now'", "did you mean 'fail_on'?"),
    ('"\\u001b[31m\\n" = 1', "there is no setting '\\x1b[31m\\n'"),
    ("zzzzzzzz = 1", "'netwatch settings' lists them all"),
    ("[numbers]\nhole_s = 1", "there is no setting 'numbers'"),
    ("hole_s = '4'", "hole_s takes a number (s), not '4'"),
    ("hole_s = true", "hole_s takes a number (s), not true"),
    ("hole_s = [1]", "hole_s takes a number (s), not [1]"),
    ("hole_s = -1", "hole_s must be between 0 and 10,000,000 (s), not -1"),
    ("hole_s = nan", "hole_s must be between"),
    ("hole_s = inf", "hole_s must be between"),
    ("hole_s = 1e300", "hole_s must be between"),
    ("cap_hosts = 0", "cap_hosts must be between 1 and"),
    ("cap_hosts = 10.0", "cap_hosts takes a whole number (entries), not 10.0"),
    ("loss_now = 5", "loss_now must be between 0 and 1 (share), not 5"),
    ("fail_on = 'never'", "fail_on takes now, soon, quality, tidy or note, not 'never'"),
    ("from = 3", "from takes auto, mirror, ordinary or wifi, not 3"),
    ("phase = ['show']", "phase takes building or show"),
    ("hole_s = 1\nhole_s = 2\n", "line 2: this is not TOML (cannot overwrite a value)"),
    ("\n\nhole_s 1", "line 3: this is not TOML (expected '=' after a key"),
    ("hole_s = 'x", "this is not TOML"),
    ("hole_s = " + "[" * 5000, "this is not TOML"),
    ("hole_s = " + "1" * 5000, "this is not TOML"),
])
def test_each_slip_is_one_sentence_that_names_the_file(lay: Load, text: str, said: str) -> None:
    with pytest.raises(SettingsError) as error:
        lay(here=text)
    sentence = str(error.value)
    assert said in sentence
    assert FILE in sentence
    assert "\n" not in sentence
    assert len(sentence) < 400


def test_slips_in_the_environment_and_the_options_name_their_place(lay: Load) -> None:
    with pytest.raises(SettingsError, match="NETWATCH_HOLES: there is no setting 'holes'"):
        lay(env={"NETWATCH_HOLES": "1"})
    with pytest.raises(SettingsError, match="NETWATCH_HOLE_S: hole_s takes a number"):
        lay(env={"NETWATCH_HOLE_S": "long"})
    with pytest.raises(SettingsError, match="the command line: cap_hosts takes a whole number"):
        lay({"cap_hosts": "1.5"})
    with pytest.raises(SettingsError, match="write it as KEY=VALUE"):
        split_option("hole_s")


def test_other_programs_variables_and_the_tests_own_are_left_alone(lay: Load) -> None:
    assert lay(env={"PATH": "x", "NETWATCH": "x", "NETWATCH_SHARED": "y"}) == lay()


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    folder, latin = tmp_path / FILE, tmp_path / "latin.toml"
    folder.mkdir()
    latin.write_bytes(b"# caf\xe9\n")
    for path, said in ((tmp_path / "none.toml", "no such file"), (folder, "can't be read"), (latin, "UTF-8")):
        with pytest.raises(SettingsError, match=said):
            load(config=path, environment={}, here=tmp_path / "empty", home=tmp_path / "empty")
    with pytest.raises(SettingsError, match="can't be read"):
        load(environment={}, here=tmp_path, home=tmp_path / "empty")


@examples(max_examples=150, deadline=None)
@given(st.text(max_size=80) | st.builds(lambda k, v: f"{k} = {v}", st.sampled_from(sorted(NUMBERS)), st.text(max_size=20)))
def test_any_text_is_settings_or_one_sentence(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    folder = tmp_path_factory.getbasetemp() / "any-settings"
    folder.mkdir(exist_ok=True)
    (folder / FILE).write_bytes(text.encode("utf-8", "surrogatepass"))
    try:
        load(environment={}, here=folder, home=folder / "none")
    except SettingsError as error:
        sentence = str(error)
    else:
        sentence = "fine"
    assert sentence
    assert "\n" not in sentence
