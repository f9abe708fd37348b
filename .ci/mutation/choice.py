"""Which mistakes are made: the drawn ones by a seed, the named ones of `.ci/mutants.toml`."""
import os
import tomllib
from functools import cache
from pathlib import Path

import operators
from areas import AREAS, area_of
from operators import EXPRESSIONS, PARSER, Mistake, candidates, chance, is_test, shown


class Wrong(Exception):
    """Something that whoever called the command has to put right."""


def source_files(top, start):
    """Files of `src` whose path begins with `start`, those left out that are compiled for unit tests only."""
    for folder, _, names in sorted(os.walk(top / "src")):
        for name in sorted(names):
            path = (Path(folder) / name).relative_to(top).as_posix()
            if path.startswith(start) and path.endswith(".rs") and not for_tests_only(top, Path(path)):
                yield path


@cache
def for_tests_only(top, path):
    """Whether the `mod` line of a file, or of one that it lies below, stands behind `#[cfg(test)]`."""
    own = path.parent if path.name == "mod.rs" else path.with_suffix("")
    if own.parent == Path("src"):
        above = [Path("src/lib.rs")]
    else:
        above = [own.parent.with_suffix(".rs"), own.parent / "mod.rs"]
    above = next((file for file in above if file != path and (top / file).is_file()), None)
    if above is None:
        return False
    text = (top / above).read_bytes()
    for item in PARSER.parse(text).root_node.named_children:
        if item.type == "mod_item" and item.child_by_field_name("body") is None:
            name = item.child_by_field_name("name")
            if text[name.start_byte:name.end_byte].decode() == own.name:
                return is_test(item, text) or for_tests_only(top, above)
    return False


def drawing_order(top, seed, only, taken=frozenset()):
    """For every area its candidates, without those that are taken, in the order in which they are drawn. The order of one mistake against another depends on
    the seed and on what the lines say, so that a change elsewhere draws the same mistakes again."""
    orders = {}
    for area in AREAS:
        if not area.drawn or (only and area.name != only):
            continue
        found = []
        for path in sorted({p for start in area.files for p in source_files(top, start)}):
            text = (top / path).read_bytes()
            column = lambda m: m.edit[0] - text.rfind(b"\n", 0, m.edit[0])
            # mistakes that read the same are told apart by where in the file they follow one another
            seen = {}
            for m in (m for m in candidates(path, text) if m.key not in taken):
                again = seen[m.key, column(m)] = seen.get((m.key, column(m)), -1) + 1
                found.append((chance(seed, path, m.before, m.after, column(m), again), m))
        if not found:
            raise Wrong(f"the area {area.name!r} has no place for a mistake\nhint: its files are named in .ci/mutation/areas.py")
        orders[area.name] = [m for _, m in sorted(found, key=lambda pair: pair[0])]
    return orders


def shares(orders, count):
    """How many are drawn in each area: in proportion to the places there, the largest remainders rounded up."""
    places = sum(map(len, orders.values()))
    count = min(count, places)
    exact = {name: count * len(order) / places for name, order in orders.items()}
    drawn = {name: int(share) for name, share in exact.items()}
    for name in sorted(exact, key=lambda n: drawn[n] - exact[n])[:count - sum(drawn.values())]:
        drawn[name] += 1
    return drawn


def named(top, listed):
    """The named mistakes of the list, each behind the smallest switch that gives the text as it was meant."""
    table = tomllib.loads(listed.read_text())
    unknown = set(table) - {"mistake"}
    if unknown:
        raise Wrong(f"{listed.name}: unknown {sorted(unknown)}\nhint: the list is made of [[mistake]]")
    made, names = [], set()
    for entry in table.get("mistake", []):
        name = entry.get("name", "?")
        if set(entry) != {"name", "file", "find", "replace"} or name in names:
            raise Wrong(f"{listed.name}: {name!r} needs name, file, find and replace, each once, and a name of its own")
        names.add(name)
        made.append(one_named(top, listed.name, entry))
    return made


def one_named(top, listed, entry):
    name, file, find, replace = entry["name"], entry["file"], entry["find"].encode(), entry["replace"].encode()
    path = top / file
    text = path.read_bytes() if path.is_file() else b""
    times = text.count(find) if find else 0
    if times != 1:
        what = "there is no such file" if not path.is_file() else f"its `find` occurs {times} times in {file}, not once"
        raise Wrong(f"{listed}: {name!r}: {what}\nhint: put the entry right; the code it names has moved or reads otherwise now")
    if area_of(file) is None:
        raise Wrong(f"{listed}: {name!r}: no tests are named for {file}\nhint: add an area to .ci/mutation/areas.py")
    start = text.index(find)
    # what both texts begin and end with is context; the words at its rim stay whole
    same = lambda a, b: len(os.path.commonprefix([a, b]))
    front = same(find, replace)
    back = min(same(find[::-1], replace[::-1]), len(find) - front, len(replace) - front)
    edit = (start + front, start + len(find) - back, replace[front:len(replace) - back].decode())
    mutated = text[:edit[0]] + edit[2].encode() + text[edit[1]:]
    tree, other = PARSER.parse(text), PARSER.parse(mutated)
    grown = len(mutated) - len(text)
    node = tree.root_node.descendant_for_byte_range(edit[0], edit[1])
    while node is not None:
        twin = other.root_node.descendant_for_byte_range(node.start_byte, node.end_byte + grown)
        shape = "block" if node.type == "block" and node.parent.type == "function_item" else "expression"
        whole = twin is not None and (twin.start_byte, twin.end_byte) == (node.start_byte, node.end_byte + grown)
        if whole and not twin.has_error and (shape == "block" or stands_alone(node)) and (shape == "block" or may_stand(twin)):
            line, before, after = shown(text, edit)
            return Mistake(file, "named", (node.start_byte, node.end_byte), shape, edit, before, after, line, name)
        node = node.parent
    raise Wrong(f"{listed}: {name!r}: no expression of {file} holds the change\nhint: it has to lie inside a function")


def may_stand(node):
    """Whether a node is an expression by its kind; the smallest node of a range may have a larger one of the same range."""
    while node is not None:
        if node.type in EXPRESSIONS:
            return True
        above = node.parent
        if above is None or (above.start_byte, above.end_byte) != (node.start_byte, node.end_byte):
            return False
        node = above
    return False


def stands_alone(node):
    """Whether an expression can be put behind a switch where it stands."""
    if not may_stand(node) or node.type in ("range_expression",):
        return False
    above, here = node.parent, node
    while above is not None and above.type not in ("function_item", "source_file"):
        if above.type in operators.CLOSED or above.type.endswith("_pattern"):
            return False
        here, above = above, above.parent
    if above is None or above.type != "function_item" or here != above.child_by_field_name("body"):
        return False
    above = node.parent
    role = next(above.field_name_for_child(i) for i, child in enumerate(above.children) if child == node)
    # a field's or a path's own name, and what is assigned to
    if role in ("field", "name", "pattern", "path", "macro") or (role == "left" and "assignment" in above.type):
        return False
    return above.type not in ("scoped_identifier", "let_chain", "field_initializer_list", "shorthand_field_initializer")
