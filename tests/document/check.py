"""The document against the running program, and its map against a reader of maps.

Starts the program on a fresh database, plays the document's own examples, and
lets PyPI `schemathesis` ask everything that the document allows and forbids.
Then `shapely` reads the blocks as GeoJSON.

    target/python/bin/python tests/document/check.py PROGRAM [CASES]
"""

import json
import pathlib
import re
import subprocess
import sys
import tempfile
import urllib.request

import shapely

HERE = pathlib.Path(__file__).parent
SEED = "20130501"
LONGEST = 75  # seconds


def started(program, folder):
    """The program, its address and its token."""
    process = subprocess.Popen(
        [program, "serve", "--database", f"{folder}/b.db", "--mail-folder", f"{folder}/mail",
         "--listen", "127.0.0.1:0", "--requests-a-minute", "0", "--open-meteo-url", "http://127.0.0.1:9",
         "--allow-feed-hosts", "127.0.0.1"],
        stdout=subprocess.PIPE, stderr=open(f"{folder}/log", "w"), text=True)
    address = token = None
    for line in process.stdout:
        if found := re.search(r"token for the API.*?(bt_[0-9a-f]+)", line):
            token = found[1]
        if found := re.search(r"(http://127\.0\.0\.1:\d+)\b(?!/claim)", line):
            address = found[1]
        if address and token:
            return process, address, token
    sys.exit("the program did not start: " + open(f"{folder}/log").read())


def play(address, token, document):
    """Asks what the examples ask, so that there is something to find."""
    wanted = ["add-farm", "add-site", "add-source", "change-source", "store-readings", "add-block", "set-plan",
              "append-entries", "add-curve", "add-material"]
    operations = {operation["operationId"]: (method, path, operation)
                  for path, item in document["paths"].items() for method, operation in item.items()}
    for name in wanted:
        method, path, operation = operations[name]
        headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
        for parameter in operation["parameters"]:
            if parameter["in"] == "path":
                path = path.replace("{%s}" % parameter["name"], str(parameter["example"]))
            elif parameter["in"] == "header" and "example" in parameter:
                headers[parameter["name"]] = parameter["example"]
        body = json.dumps(operation["requestBody"]["content"]["application/json"]["example"]).encode()
        request = urllib.request.Request(address + path, body, headers, method=method.upper())
        with urllib.request.urlopen(request) as answer:
            assert answer.status in (200, 201), (name, answer.status)


def read_map(address, token):
    """The blocks as shapely reads them."""
    request = urllib.request.Request(address + "/api/v1/blocks?format=geojson&farm_id=larkmoor&limit=1000",
                                     headers={"Authorization": f"Bearer {token}"})
    with urllib.request.urlopen(request) as answer:
        text = answer.read().decode()
    placed = [feature for feature in json.loads(text)["features"] if feature["geometry"]]
    shapes = [shapely.from_geojson(json.dumps(feature["geometry"])) for feature in placed]
    print(f"shapely read {len(shapes)} places")
    return shapes


def put_on_map(address, token):
    """Blocks with a point and with an outline."""
    def feature(name, geometry):
        return {"type": "Feature", "id": name, "geometry": geometry, "properties": {
            "site_id": "ridge", "name": name, "cultivar": "Gala", "curve": "reference", "target_fruit_per_tree": 90}}
    ring = [[-74.17, 40.69], [-74.16, 40.69], [-74.16, 40.70], [-74.17, 40.69]]
    blocks = {"type": "FeatureCollection", "features": [
        feature("outlined", {"type": "Polygon", "coordinates": [ring]}),
        feature("pointed", {"type": "Point", "coordinates": [-74.17, 40.69]})]}
    request = urllib.request.Request(
        address + "/api/v1/farms/larkmoor/blocks", json.dumps(blocks).encode(),
        {"Authorization": f"Bearer {token}", "Content-Type": "application/geo+json"}, method="POST")
    with urllib.request.urlopen(request) as answer:
        assert answer.status == 201


def main():
    program, cases = sys.argv[1], sys.argv[2] if len(sys.argv) > 2 else "12"
    with tempfile.TemporaryDirectory(prefix="bloomtide-document-") as folder:
        process, address, token = started(program, folder)
        try:
            with urllib.request.urlopen(address + "/api/v1/openapi.json") as answer:
                document = json.load(answer)
            play(address, token, document)
            put_on_map(address, token)
            shapes = read_map(address, token)
            outline = next(shape for shape in shapes if shape.geom_type == "Polygon")
            assert outline.is_valid and abs(outline.area - 0.00005) < 1e-9, outline.area
            assert any(shape.geom_type == "Point" and shape.x == -74.17 for shape in shapes), shapes
            asked = subprocess.run(
                [pathlib.Path(sys.executable).parent / "schemathesis", "--config-file", HERE / "schemathesis.toml",
                 "run", address + "/api/v1/openapi.json", "-H", f"Authorization: Bearer {token}",
                 "--checks", "all", "--max-examples", cases, "--seed", SEED, "--max-time", str(LONGEST),
                 "--no-shrink", "--continue-on-failure", "--suppress-health-check", "all", "--warnings", "off",
                 # One worker: Python before 3.11.9 fails now and then when two threads
                 # parse source at once (gh-106905), as hypothesis does.
                 "--workers", "1", "--generation-database", "none"] + sys.argv[3:],
                cwd=folder)
            assert process.poll() is None, "the program went away"
            read_map(address, token)
        finally:
            process.terminate()
            process.wait(20)
        log = open(f"{folder}/log").read()
        broken = [line for line in log.splitlines() if "panicked" in line or "request failed" in line]
        if broken:
            sys.exit("the program failed:\n" + "\n".join(broken[:10]))
        sys.exit(asked.returncode)


if __name__ == "__main__":
    main()
