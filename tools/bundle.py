"""Build the chart script that the pages serve, from the libraries inside vl-convert. No network.

Run after vl-convert changes:  python tools/bundle.py
"""

from __future__ import annotations

import json
from pathlib import Path

import altair as alt
import vl_convert

STATIC = Path(__file__).parents[1] / "src" / "tierpole" / "web" / "static"
SNIPPET = "window.drawChart = vegaEmbed; window.vega = vega;"


def main() -> None:
    """Write the script and the note of what is in it."""
    version = ".".join(alt.SCHEMA_VERSION.lstrip("v").split(".")[:2])
    known = vl_convert.get_vegalite_versions()
    chosen = version if version in known else known[-1]
    script = vl_convert.javascript_bundle(SNIPPET, vl_version=chosen)
    (STATIC / "charts-bundle.js").write_text(script, encoding="utf-8")
    made_of = {
        "vega": vl_convert.get_vega_version(),
        "vega-lite": chosen,
        "vega-embed": vl_convert.get_vega_embed_version(),
    }
    (STATIC / "charts-bundle.json").write_text(
        json.dumps(made_of, indent=2) + "\n", encoding="utf-8"
    )


if __name__ == "__main__":
    main()
