"""Holds the house of DEVELOPERS.md: where things live, who may import whom, and who may write."""

import ast
import re
import subprocess
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

TOP_LEVEL = {
    *("README.md", "DEVELOPERS.md", "LICENSE", "manage.py", "requirements.txt", "pyproject.toml"),
    *(".env.example", ".gitignore", ".ci"),
    *("machines", "locations", "routeapp", "templates", "static", "tests"),
}

# A feature imports only features that stand before it; kit is the leaf, data stands on top.
FEATURES = (
    "routeapp.kit",
    *("machines.cabinets", "machines.faults", "machines.labels", "machines.papers"),
    *("machines.purchases", "machines.depreciation", "machines.bench", "machines.parts", "machines.arrivals"),
    *("locations.hosts", "locations.sites", "locations.taxes", "locations.agreements", "locations.placements"),
    *("routeapp.team", "routeapp.stock", "routeapp.cash", "routeapp.cards", "routeapp.expenses"),
    *("routeapp.visits", "routeapp.settlements", "routeapp.planning"),
    *("routeapp.earnings", "routeapp.books", "routeapp.pages"),
    *("routeapp.data.imports", "routeapp.data.export", "routeapp.data"),
)
INDEXES = {  # an app's models.py stands as high as the highest feature it gathers
    "machines.models": "machines.arrivals",
    "locations.models": "locations.placements",
    "routeapp.models": "routeapp.data.imports",
}
WITHOUT_ROOMS = ("routeapp.kit", "routeapp.data")

# A room imports only rooms that stand before it, in its own feature and in others.
ROOMS = ("rules", "models", "queries", "actions", "forms", "views", "middleware", "urls")
READING_ROOMS = ("queries", "forms", "views")

WRITES = {"create", "bulk_create", "bulk_update", "get_or_create", "update_or_create", "delete"}
WRITERS = {"routeapp.kit.prepared": {"Many", "Prepared"}, "routeapp.kit.rows": set()}  # what of them does not write
QUERYSET_WORDS = {"objects", "filter", "exclude", "all", "live"}

# Modules and functions that no view calls, or where nobody is signed in; each with its reason.
NOT_SIGNED = {
    "machines.labels.actions.new_code": "makes up a code, writes nothing",
    "machines.labels.actions.report_from_label": "a stranger sends it",
    "routeapp.cash.actions.take_moves": "builds the moves that a visit writes",
    "routeapp.planning.actions_versions": "the inside of making and changing rounds, which is signed",
    "routeapp.stock.actions.cabinet_place": "a cabinet's place is there as soon as it is asked for",
    "routeapp.stock.actions.cabinet_places": "a cabinet's place is there as soon as it is asked for",
    "routeapp.stock.actions_ledger": "the inside of stock.actions, which is signed",
    "routeapp.stock.actions_settling": "the inside of stock.actions, which is signed",
    "routeapp.data.imports.actions_bring.write": "the inside of bring, which is signed",
    "routeapp.data.imports.actions_stays": "the inside of bring, which is signed",
    "routeapp.data.imports.actions_stock": "the inside of bring, which is signed",
    "routeapp.data.imports.actions_things": "the inside of bring, which is signed",
    "routeapp.data.imports.actions_visits": "the inside of bring, which is signed",
    "routeapp.visits.actions_assign.end_of": "answers what ended a placement",
    "routeapp.visits.actions_photos": "photos wait for their visit, which is signed",
    "routeapp.visits.actions_references": "looks up what a document names",
    "routeapp.visits.actions_writing": "the inside of record_visit, which is signed",
}

LARGEST_CODE, LARGEST_TEMPLATE = 400, 180


def python_files() -> list[Path]:
    files = [path for app in ("machines", "locations", "routeapp") for path in (ROOT / app).rglob("*.py")]
    return sorted(path for path in files if "migrations" not in path.parts)


def named(path: Path) -> str:
    return str(path.relative_to(ROOT))


def module_of(path: Path) -> str:
    return named(path).removesuffix(".py").removesuffix("/__init__").replace("/", ".")


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(), named(path))


MODULES = {module_of(path): path for path in python_files()}


def feature_of(module: str) -> str:
    """The feature a module belongs to; empty for what lies loose in an app."""
    return INDEXES.get(module) or next((one for one in FEATURES if f"{module}.".startswith(f"{one}.")), "")


def room_of(module: str) -> str:
    """The room a module is: its name up to the first underscore; empty outside of features with rooms."""
    feature = feature_of(module)
    inside = feature and feature not in WITHOUT_ROOMS and module not in INDEXES and module != feature
    return module.removeprefix(f"{feature}.").split("_")[0] if inside else ""


def imported(path: Path) -> Iterator[str]:
    """Every module that a file imports, anywhere in it."""
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            source = node.module or ""
            for name in node.names:
                whole = f"{source}.{name.name}"
                yield whole if whole in MODULES else source


def ours(path: Path) -> Iterator[str]:
    """Imported modules of our own that belong to the map: features and the apps' indexes."""
    return (module for module in imported(path) if module.split(".")[0] in ("machines", "locations", "routeapp"))


def calls(path: Path) -> Iterator[tuple[int, ast.Attribute, ast.Call]]:
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            yield node.lineno, node.func, node


def test_top_level_stays_as_it_is():
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True)
    if listed.returncode:
        pytest.skip("this copy of the project is no git repository")
    found = {line.split("/")[0] for line in listed.stdout.splitlines()}
    assert found - TOP_LEVEL == set(), "Nothing is added at the top: move these into one of the folders that are there."


def test_every_package_is_on_the_map():
    packages = {path.parent for path in python_files() if path.parent.parent.parent == ROOT}
    loose = {ROOT / "routeapp" / name for name in ("management", "templatetags")}
    unknown = {module_of(one / "__init__.py") for one in packages - loose} - set(FEATURES)
    assert unknown == set(), "Add these features to FEATURES above and to DEVELOPERS.md, where their imports allow it."


def test_features_import_only_what_stands_before_them():
    problems = []
    for module, path in MODULES.items():
        feature = feature_of(module)
        if not feature or module in INDEXES:
            continue
        for other in ours(path):
            target = feature_of(other)
            if not target or FEATURES.index(target) > FEATURES.index(feature):
                problems.append(f"{named(path)} imports {other}, which stands above {feature}")
    assert problems == [], "Move what is needed down, or the page that needs both up."


def test_kit_is_the_leaf():
    problems = [
        f"{named(path)} imports {other}"
        for module, path in MODULES.items()
        if feature_of(module) == "routeapp.kit"
        for other in ours(path)
        if feature_of(other) != "routeapp.kit"
    ]
    assert problems == [], "kit knows no noun of ours: pass in what it needs."


def test_every_file_of_a_feature_is_a_room():
    unknown = [named(MODULES[module]) for module in MODULES if room_of(module) not in ("", *ROOMS)]
    assert unknown == [], f"Name the file after its room ({', '.join(ROOMS)}), as in queries_meters.py."


def test_rooms_import_only_rooms_before_them():
    problems = []
    for module, path in MODULES.items():
        room = room_of(module)
        for other in ours(path) if room in ROOMS else ():
            target = room_of(other)
            if target in ROOMS and ROOMS.index(target) > ROOMS.index(room):
                problems.append(f"{named(path)} imports {other}")
    assert problems == [], f"The order of rooms is {' → '.join(ROOMS)}."


def test_rules_could_be_worked_out_on_paper():
    closed = ("django.db", "django.http", "django.utils.timezone", "django.core", "routeapp.kit.clock.now")
    problems = [
        f"{named(path)} imports {other}"
        for module, path in MODULES.items()
        if room_of(module) == "rules"
        for other in imported(path)
        if other.startswith(closed)
    ]
    assert problems == [], "Rules know no database, request or clock: pass the figures in."


def test_every_models_file_is_in_the_index_of_its_app():
    gathered = {other for index in INDEXES for other in imported(MODULES[index])}
    missing = {module for module in MODULES if room_of(module) == "models"} - gathered
    assert missing == set(), "Import these in the app's models.py, or Django does not see their tables."


def written(name: ast.Attribute, call: ast.Call) -> bool:
    """Whether a call writes to the database. `.update` and `.save` also exist on dicts and pictures."""
    if name.attr == "update":
        chain = {one.attr for one in ast.walk(name.value) if isinstance(one, ast.Attribute)}
        return bool(chain & QUERYSET_WORDS)
    return name.attr in WRITES or (name.attr == "save" and not call.args)


def test_only_actions_write():
    problems = [
        f"{named(path)}:{line} .{name.attr}("
        for module, path in MODULES.items()
        if room_of(module) in READING_ROOMS
        for line, name, call in calls(path)
        if written(name, call)
    ]
    problems += [
        named(path) for module, path in MODULES.items() if room_of(module) in READING_ROOMS and writers(tree_of(path))
    ]
    assert problems == [], "Let an action write this; forms and views call it."


def writers(tree: ast.Module) -> set[str]:
    """What a module takes from kit that writes."""
    taken = [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node.module in WRITERS]
    return {name.name for node in taken for name in node.names if name.name not in WRITERS[node.module]}


def public_functions(path: Path) -> Iterator[ast.FunctionDef]:
    for node in tree_of(path).body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            yield node


def is_signed(function: ast.FunctionDef) -> bool:
    """Keyword-only, and told by whom and when."""
    arguments = function.args
    named_only = {one.arg for one in arguments.kwonlyargs}
    return not (arguments.args or arguments.posonlyargs or arguments.vararg) and {"by", "at"} <= named_only


def test_every_action_is_told_by_whom_and_when():
    unsigned = {
        (module, f"{module}.{function.name}")
        for module, path in MODULES.items()
        if room_of(module) == "actions"
        for function in public_functions(path)
        if not is_signed(function)
    }
    wrong = {name for module, name in unsigned if not {module, name} & set(NOT_SIGNED)}
    assert wrong == set(), "Give these keyword-only arguments with by= and at=, or a leading underscore."
    spare = set(NOT_SIGNED) - {part for pair in unsigned for part in pair}
    assert spare == set(), "These are signed now, or gone: take them out of NOT_SIGNED."


def lengths(pattern: str, *folders: str) -> Iterator[tuple[str, int]]:
    for folder in folders:
        for path in sorted((ROOT / folder).rglob(pattern)):
            if "migrations" not in path.parts:
                yield named(path), len(path.read_text().splitlines())


def test_files_stay_short_enough_to_be_read():
    code = [*lengths("*.py", "machines", "locations", "routeapp", "tests"), *lengths("*.js", "static")]
    long = [one for one in (*code, *lengths("*.css", "static")) if one[1] > LARGEST_CODE]
    long += [one for one in lengths("*.html", "templates") if one[1] > LARGEST_TEMPLATE]
    assert long == [], "Divide these by noun, inside their folder."


INLINE = {
    "a style element": r"<style\b",
    "a style attribute": r"<[^>]*\sstyle\s*=",
    "a script without src": r"<script\b(?![^>]*\ssrc=)(?![^>]*application/json)",
    "an event attribute": r"<[^>]*\son[a-z]+\s*=",
    "htmx that evaluates text": r"\shx-on[:-]|\shx-vals=[\"']js:",
    "a javascript: address": r"javascript:",
}


def test_templates_hold_nothing_that_the_browser_will_refuse():
    problems = [
        f"{named(path)}: {what}"
        for path in sorted((ROOT / "templates").rglob("*.html"))
        for what, pattern in INLINE.items()
        if re.search(pattern, path.read_text(), re.IGNORECASE)
    ]
    assert problems == [], "The Content-Security-Policy forbids these: use static/css/keyround.css and static/js/."


def test_every_requirement_is_pinned_and_has_a_reason():
    lines = (ROOT / "requirements.txt").read_text().splitlines()
    packages = [line for line in lines if line.strip() and not line.startswith("#")]
    wrong = [line for line in packages if not re.fullmatch(r"[\w.\[\]-]+==[\w.]+(; [^#]+?)?\s+# \w.{8,}", line)]
    assert wrong == [], "Write it as name==version  # why we need it"
