#!/bin/sh
# Makes a Python environment for the reference generators: setup.sh DIR
# Then: DIR/bin/python tests/references/generate.py --check
set -eu

if [ $# -ne 1 ]; then
    echo "error: one argument expected, the directory of the new environment" >&2
    echo "hint: setup.sh target/references-venv" >&2
    exit 2
fi

here=$(cd "$(dirname "$0")" && pwd)
python3 -c 'import sys; sys.exit(sys.version_info < (3, 11))' || {
    echo "error: python3 is $(python3 --version 2>&1), but 3.11 or newer is needed" >&2
    exit 2
}
python3 -m venv "$1"
"$1/bin/python" -m pip install --quiet --disable-pip-version-check --requirement "$here/requirements.txt"
