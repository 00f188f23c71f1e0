"""The scripts are plain enough for a browser of 2020: the language by a parser, what they call by a list."""

import json
import re
from importlib.resources import files
from pathlib import Path

import pytest

from tests.npm import node, package

STATIC = files("beepwatch.page").joinpath("static")
SCRIPTS = ("page.js", "pair.js", "sound.js", "views.js")
PARSE = """
const acorn = require('acorn'), text = require('fs').readFileSync(process.argv[1], 'utf8');
let fault = '';
try { acorn.parse(text, {ecmaVersion: 2019, sourceType: 'script'}); } catch (error) { fault = String(error); }
console.log(JSON.stringify(fault));
"""
YOUNG = r"\.at\(|\.findLast\(|structuredClone|\.hasOwn\(|\.toSorted\(|\.groupBy\(|\.replaceAll\(|AbortSignal\.timeout"
"""Calls that browsers learned only after 2020 (MDN's tables, from memory)."""


@pytest.fixture(scope="module")
def acorn() -> Path:
    """A parser of JavaScript that knows its versions."""
    return package("acorn", "8.15.0")


def fault(acorn: Path, script: str) -> str:
    """Why a script is no ECMAScript 2019; "" where it is."""
    return str(json.loads(node(acorn, PARSE, script)))


@pytest.mark.parametrize("name", SCRIPTS)
def test_the_language_is_of_2019(acorn: Path, name: str) -> None:
    """ECMAScript 2019, no modules: what phones of 2021 understand, and those of some years before."""
    assert fault(acorn, STATIC.joinpath(name).read_text("utf-8")) == ""


def test_the_parser_would_tell(acorn: Path) -> None:
    """Optional chaining is of 2020, private fields are of 2022."""
    assert "Unexpected" in fault(acorn, "a?.b")
    assert fault(acorn, "class A { #b = 1 }") != ""


@pytest.mark.parametrize("name", SCRIPTS)
def test_no_younger_call_is_used(name: str) -> None:
    """What only some have (screen lock, vibration, audio session) is asked for first."""
    text = STATIC.joinpath(name).read_text("utf-8")
    assert re.findall(YOUNG, text) == []
    for optional in ("wakeLock", "vibrate", "audioSession"):
        if f"navigator.{optional}" in text:
            assert re.search(rf"if \(!?(?:[^)]*&& )?navigator\.{optional}\)", text)


def test_nothing_is_fetched_from_outside_and_nothing_is_inline() -> None:
    """No address but our own in any file; no script, style or handler within the markup."""
    for path in STATIC.iterdir():
        text = path.read_text("utf-8").replace("http://www.w3.org/2000/svg", "")
        assert not re.search(r"https?://|//[a-z]+\.|@import|url\(", text), path.name
        if path.name.endswith(".html"):
            assert not re.search(r"<script(?! src=)|<style|\son[a-z]+=|\sstyle=", text)
