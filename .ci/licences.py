"""The licences of everything that a program is made of: licences.py TARGET [PACKAGE] > LICENCES.txt

Crates are those that cargo resolves for that platform (normal dependencies; what only builds or tests is in no program), each with its
licence as its author wrote it. A text that several crates share stands once. A crate that names no licence is an error; one that comes without
a text is listed with the licence it names.
"""

import json
import pathlib
import subprocess
import sys

ROOT = pathlib.Path(__file__).parents[1]
NAMES = ("license", "licence", "copying", "notice", "unlicense", "copyright")


def resolved(target, package):
    asked = ["cargo", "metadata", "--locked", "--format-version", "1", "--filter-platform", target]
    found = json.loads(subprocess.run(asked, cwd=ROOT, check=True, capture_output=True, text=True).stdout)
    packages = {entry["id"]: entry for entry in found["packages"]}
    nodes = {node["id"]: node for node in found["resolve"]["nodes"]}
    waiting = [entry["id"] for entry in found["packages"] if entry["name"] == package and entry["source"] is None]
    assert waiting, f"{package} is no package of this workspace"
    seen = set()
    while waiting:
        at = waiting.pop()
        if at in seen:
            continue
        seen.add(at)
        for needed in nodes[at]["deps"]:
            if any(kind["kind"] is None for kind in needed["dep_kinds"]):
                waiting.append(needed["pkg"])
    others = [packages[at] for at in seen if packages[at]["source"] is not None]
    return sorted(others, key=lambda entry: (entry["name"], entry["version"]))


def texts(entry):
    folder = pathlib.Path(entry["manifest_path"]).parent
    files = [path for path in sorted(folder.iterdir()) if path.is_file() and path.name.lower().startswith(NAMES) and path.suffix != ".rs"]
    if entry["license_file"]:
        files.append(folder / entry["license_file"])
    return ["\n".join(line.rstrip() for line in path.read_text(errors="replace").strip().splitlines()) for path in dict.fromkeys(files)]


def main(target, package="skewstar"):
    crates = resolved(target, package)
    nameless = [entry["name"] for entry in crates if not entry["license"] and not entry["license_file"]]
    if nameless:
        sys.exit(f"error: no licence is named by {', '.join(nameless)}")
    shared, without = {}, []
    for entry in crates:
        found = texts(entry)
        if not found:
            without.append(entry)
        for text in found:
            shared.setdefault(text, []).append(f"{entry['name']} {entry['version']}")
    print(f"{package} is under MIT or Apache-2.0, as you choose. For {target} it is made of {len(crates)} crates of others and of Rust's standard")
    print("library (MIT or Apache-2.0). Thanks to everybody who wrote them.\n")
    for entry in crates:
        print(f"  {entry['name']} {entry['version']}: {entry['license'] or 'see its text'}")
    if without:
        print("\nWithout a text of their own in their package; the licence that they name applies:")
        for entry in without:
            print(f"  {entry['name']} {entry['version']}, {', '.join(entry['authors']) or 'its authors'}: {entry['license']} ({entry['repository']})")
    for text, names in sorted(shared.items(), key=lambda pair: pair[1]):
        print(f"\n{'=' * 100}\n{', '.join(names)}\n{'=' * 100}\n\n{text}")
    for path in sorted((ROOT / "src/image_io/font").glob("*")):
        if path.name.lower().startswith(NAMES) or path.suffix.lower() == ".txt":
            print(f"\n{'=' * 100}\nthe letters on pictures\n{'=' * 100}\n\n{path.read_text(errors='replace').strip()}")


if __name__ == "__main__":
    main(*sys.argv[1:])
