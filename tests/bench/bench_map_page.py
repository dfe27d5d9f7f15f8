"""How long the map page takes to follow a tried delay: typed in Chromium, until the new picture is on the screen.

From the input event to the frame after the picture is decoded (waiting for the end of typing, drawing on the server,
transfer and decoding included), and until the numbers beside it are there. Reference: one second.
And from a click on the map to the frame in which the signals of that place are drawn. Reference: 300 ms.

    python -m tests.bench.bench_map_page [million]

With ``million`` the maps have about a million pixels instead of the usual 100,000 to 160,000.
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path
from statistics import median
from typing import Any
from urllib.request import Request, urlopen

from playwright.sync_api import Page, sync_playwright

from tests.browser.conftest import CHROMIUM, QUIET

ROOT = Path(__file__).parents[2]
TRIES = 7
REFERENCE_MS = 1000.0
CLICK_REFERENCE_MS = 300.0
# Sets a field as typing does, and waits for what follows from it.
TYPED = """async ([id, value]) => {
  const start = performance.now(), box = document.getElementById("map-summary"), pane = document.querySelector(".leaflet-layer-pane");
  const said = new Promise((go) => new MutationObserver((_, seen) => { seen.disconnect(); go(performance.now() - start); }).observe(box, { childList: true, subtree: true }));
  const shown = new Promise((go) => new MutationObserver((all, seen) => {
    for (const { addedNodes } of all) for (const node of addedNodes) if (node.tagName === "IMG") {
      seen.disconnect();
      node.addEventListener("load", async () => { await node.decode(); requestAnimationFrame(() => requestAnimationFrame(() => go([performance.now() - start, node.src]))); });
    }
  }).observe(pane, { childList: true }));
  const input = document.getElementById(id);
  input.value = value;
  input.dispatchEvent(new Event("input", { bubbles: true }));
  const [picture, address] = await shown;
  const sizes = performance.getEntriesByName(address).map((one) => one.transferSize);
  return [picture, await said, sizes[0] || 0];
}"""

# From a click at a share of the map's width and height to the frame in which the signals there are drawn.
CLICKED = """async ([x, y]) => {
  const box = document.getElementById("point-part"), map = document.getElementById("map").getBoundingClientRect();
  const there = new Promise((go) => new MutationObserver((_, seen) => {
    if (box.querySelector("table.signals")) { seen.disconnect(); requestAnimationFrame(() => go(performance.now())); }
  }).observe(box, { childList: true }));
  const start = performance.now(), room = document.getElementById("map-page").leaflet;
  room.fire("click", { latlng: room.containerPointToLatLng([map.width * x, map.height * y]) });
  return await there - start;
}"""


def twenty_sites() -> dict[str, Any]:
    """Twenty FM sites on a plain, 12 to 25 km apart, each with a chain and a field of its own."""
    document: dict[str, Any] = json.loads((ROOT / "demo_sites/fm_ridge.json").read_text(encoding="utf-8"))
    document.pop("terrain", None)
    places = json.loads((ROOT / "demo_sites/dab_plain.json").read_text(encoding="utf-8"))["listeners"]
    model = next(site for site in document["sites"] if site["id"] == "north")
    document["name"], document["listeners"], document["sites"] = "Twenty sites", places, []
    for n in range(20):
        lat, lon = 52.35 + 0.18 * (n // 5) + 0.03 * (n % 3), 9.35 + 0.32 * (n % 5) + 0.05 * (n % 2)
        site = json.loads(json.dumps(model)) | {"id": f"s{n}", "name": f"Site {n}", "offset_us": float(n % 7)}
        site["position"] = {"text": f"{lat:.5f}, {lon:.5f}"}
        document["sites"].append(site)
    return document


def in_dab(document: dict[str, Any], dab: dict[str, Any]) -> dict[str, Any]:
    """The same sites as a DAB network, as the demo has it."""
    made = {key: value for key, value in document.items() if key not in ("programme", "receiver", "thresholds")}
    made |= {key: dab[key] for key in ("service", "frequency_mhz", "receiver", "thresholds") if key in dab}
    plain = [{key: value for key, value in site.items() if key != "lock"} for site in document["sites"]]
    return made | {"name": "Twenty sites, DAB", "sites": plain}


def sent(address: str, document: dict[str, Any]) -> int:
    """A network put into the program."""
    body = json.dumps({"document": document, "author": "bench", "reason": "bench"}).encode()
    with urlopen(Request(f"{address}/api/networks", body, {"Content-Type": "application/json"})) as answer:
        return int(json.loads(answer.read())["network"])


def measured(page: Page, address: str, field: str, query: str, layer: str) -> list[tuple[float, float, float]]:
    """Picture, numbers [ms] and size of the picture [bytes], for several values."""
    page.goto(f"{address}/map?layer={layer}{query}")
    page.wait_for_selector("#map-summary table", timeout=600_000)
    page.wait_for_timeout(1500)
    made = []
    for n in range(TRIES):
        made.append(page.evaluate(TYPED, [field, f"{n + 1}.3"]))
        page.wait_for_timeout(300)
    return made


def main() -> None:
    """Print the table."""
    fine = sys.argv[1:] == ["million"]
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        command = [sys.executable, "-m", "webapp", "--port", "0", "--data", folder]
        with subprocess.Popen(
            command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        ) as server:
            assert server.stdout is not None
            at = next(w for w in server.stdout.readline().split() if w.startswith("http")).rstrip("/")
            try:
                browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(QUIET))
                page = browser.new_page(viewport={"width": 1280, "height": 900})
                ridge = json.loads((ROOT / "demo_sites/fm_ridge.json").read_text(encoding="utf-8"))
                dab = json.loads((ROOT / "demo_sites/dab_plain.json").read_text(encoding="utf-8"))
                for name, document, field, pixel_m in (
                    ("FM demo, 4 sites", ridge, "offset-gap", 31),
                    ("DAB demo, 6 sites", dab, "offset-canal", 108),
                    ("FM, 20 sites", twenty_sites(), "offset-s7", 115),
                    ("DAB, 20 sites", in_dab(twenty_sites(), dab), "offset-s7", 318),
                ):
                    query = f"&pixel_m={pixel_m}" if fine else ""
                    number = sent(at, document)
                    for layer in ("quality_class", "delay_spread_us"):
                        found = measured(page, f"{at}/networks/{number}", field, query, layer)
                        picture, numbers, size = (median(one[k] for one in found) for k in range(3))
                        count = page.locator("#map-summary p").last.inner_text().rpartition("Pixel ")[2].rstrip(".")
                        worst = max(one[0] for one in found)
                        print(
                            f"{name}, pixel {count}, {layer}: picture {picture:.0f} ms (worst {worst:.0f}), numbers {numbers:.0f} ms, "
                            f"{size / 1000:.0f} kB; {REFERENCE_MS / picture:.1f} times as fast as one second"
                        )
                    clicks = [page.evaluate(CLICKED, [0.55 + k / 100, 0.35 + k / 100]) for k in range(TRIES)]
                    print(
                        f"{name}: click to signals {median(clicks):.0f} ms (worst {max(clicks):.0f}); "
                        f"{CLICK_REFERENCE_MS / median(clicks):.1f} times as fast as 300 ms"
                    )
                browser.close()
            finally:
                server.terminate()
                server.wait(20)


if __name__ == "__main__":
    main()
