#!/usr/bin/env bash
# Print every supported Python whose minor version differs from .venv's, one a line.
mine=$(.venv/bin/python -c 'import sys; print("%d.%d" % sys.version_info[:2])')
for want in 3.12 3.13 3.11; do
  [ "$want" = "$mine" ] && continue
  for candidate in "python$want" "$HOME/.pyenv/versions/$want".*/bin/python; do
    if "$candidate" -c "import sys, venv; sys.exit('%d.%d' % sys.version_info[:2] != '$want')" >/dev/null 2>&1; then
      echo "$candidate"; break
    fi
  done
done
