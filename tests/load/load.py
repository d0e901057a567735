"""How fast the running program answers, beside a bare handler in the same run.

    target/python/bin/python tests/load/load.py PROGRAM BARE [BLOCKS]

PROGRAM is bloomtide, BARE the example `bare` of the tests' crate, which answers
with a constant body of the same size and reads nothing. The load comes from
Debian's `wrk`. Every figure is printed beside what it is compared to.
"""

import datetime
import http.client
import json
import pathlib
import re
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request

HERE = pathlib.Path(__file__).parent
YEAR = 2013
SECONDS = "10s"


def started(program, folder, *more, ready="mails go to"):
    """The program, its address, and what it said before; with the seconds it took."""
    began = time.monotonic()
    process = subprocess.Popen(
        [program, "serve", "--database", f"{folder}/b.db", "--mail-folder", f"{folder}/mail",
         "--listen", "127.0.0.1:0", "--requests-a-minute", "0", *more],
        stdout=subprocess.PIPE, stderr=open(f"{folder}/log", "a"), text=True)
    said = ""
    while True:
        line = process.stdout.readline()
        if not line:
            sys.exit("the program did not start: " + open(f"{folder}/log").read())
        said += line
        if "bloomtide serves" in line:
            address = re.search(r"http://(127\.0\.0\.1:\d+)", line)[1]
        if ready in line:
            break
    while True:
        try:
            urllib.request.urlopen(f"http://{address}/readyz").read()
            return process, address, said, time.monotonic() - began
        except OSError:
            time.sleep(0.002)


class Api:
    """One connection with a token."""

    def __init__(self, address, token):
        self.line = http.client.HTTPConnection(address)
        self.token = token

    def ask(self, method, path, body=None, kind="application/json", wanted=(200, 201)):
        data = body if body is None or isinstance(body, str) else json.dumps(body)
        headers = {"Authorization": f"Bearer {self.token}", "Content-Type": kind}
        self.line.request(method, "/api/v1/" + path, data, headers)
        answer = self.line.getresponse()
        text = answer.read()
        assert answer.status in wanted, (method, path, answer.status, text[:400])
        return text


def seed(api, blocks):
    """Farms of 1,000 blocks on one site, each block with a plan and a start."""
    for first in range(0, blocks, 1000):
        farm, site = f"farm-{first}", f"site-{first}"
        api.ask("POST", "farms", {"id": farm, "name": farm})
        api.ask("POST", "sites", {"id": site, "farm_id": farm, "name": site, "latitude": 40.7,
                                  "longitude": -74.2, "time_zone": "America/New_York"})
        api.ask("POST", f"sites/{site}/sources", {"id": f"book-{first}", "name": "Book", "way": "hand"})
        api.ask("POST", f"sites/{site}/readings", {"source": f"book-{first}", "readings": [
            {"at": f"2013-04-{20 + n // 24:02}T{n % 24:02}:00:00Z", "celsius": 8 + n % 24 / 2} for n in range(240)]})
        rows = "".join(f"block-{n},{site},Block {n},Gala,reference,110\n" for n in range(first, first + 1000))
        api.ask("POST", f"farms/{farm}/blocks", "id,site_id,name,cultivar,curve,target_fruit_per_tree\n" + rows,
                "text/csv")
        for n in range(first, first + 1000):
            api.ask("PUT", f"blocks/block-{n}/seasons/{YEAR}/plan",
                    {"sprays": [{"material": "ammonium-thiosulfate", "mark": 0.6}]})
            api.ask("POST", f"blocks/block-{n}/seasons/{YEAR}/log",
                    {"id": "start", "kind": "bloom-start", "at": "2013-04-21T12:00:00Z"})


def fill(api, database):
    """Readings of years long past, until the database has 100 MB."""
    first = 0
    while database.stat().st_size + (database.parent / "b.db-wal").stat().st_size < 100 * 2**20:
        times = (datetime.datetime(1960, 1, 1) + datetime.timedelta(minutes=5 * n) for n in range(first, first + 10_000))
        api.ask("POST", "sites/site-0/readings", {"source": "book-0", "readings": [
            {"at": at.isoformat() + "Z", "celsius": at.minute / 10} for at in times]})
        first += 10_000


def wrk(address, path, token, connections, script=None):
    """Requests a second, p99 in ms, and how many were not 2xx."""
    command = ["wrk", "-t2", f"-c{connections}", f"-d{SECONDS}", "--latency",
               "-H", f"Authorization: Bearer {token}"]
    command += ["-s", str(script)] if script else []
    said = subprocess.run(command + [f"http://{address}{path}"], capture_output=True, text=True, check=True).stdout
    rate = float(re.search(r"Requests/sec:\s+([\d.]+)", said)[1])
    p99, unit = re.search(r"99%\s+([\d.]+)(us|ms|s)", said).groups()
    refused = re.search(r"Non-2xx or 3xx responses: (\d+)", said)
    return rate, float(p99) * {"us": 0.001, "ms": 1, "s": 1000}[unit], int(refused[1]) if refused else 0


def memory(process):
    """Resident megabytes."""
    return int(re.search(r"VmRSS:\s+(\d+)", open(f"/proc/{process.pid}/status").read())[1]) / 1024


def main():
    program, bare_program = sys.argv[1], sys.argv[2]
    blocks = int(sys.argv[3]) if len(sys.argv) > 3 else 10_000
    with tempfile.TemporaryDirectory(prefix="bloomtide-load-") as folder:
        process, address, said, _ = started(program, folder)
        token = re.search(r"bt_[0-9a-f]+", said)[0]
        print(f"idle memory on a new database: {memory(process):.0f} MB (at most 40)")
        api = Api(address, token)
        seed(api, blocks)
        season = f"blocks/block-{blocks // 2}/seasons/{YEAR}"
        while any(entry["state"] is None for entry in json.loads(api.ask("GET", f"board?year={YEAR}"))["items"]):
            time.sleep(1)
        body = api.ask("GET", season)
        bare = subprocess.Popen([bare_program, str(len(body))], stdout=subprocess.PIPE, text=True)
        floor_address = bare.stdout.readline().strip()
        floor, _, _ = wrk(floor_address, "/", token, 32)
        rate, p99, refused = wrk(address, "/api/v1/" + season, token, 16)
        print(f"GET of a season of {len(body)} bytes, {blocks} blocks: {rate:.0f}/s, bare handler {floor:.0f}/s, "
              f"ratio {rate / floor:.3f} (at least 0.1), {refused} refused, p99 {p99:.1f} ms at full load")
        half, p99, _ = wrk(address, "/api/v1/" + season, token, 2)
        print(f"the same from 2 connections: {half:.0f}/s, p99 {p99:.1f} ms (at most 10 at half load)")
        times = []
        for _ in range(40):
            began = time.monotonic()
            api.ask("GET", f"board?year={YEAR}&farm_id=farm-0")
            times.append((time.monotonic() - began) * 1000)
        print(f"board of 1,000 blocks: {statistics.median(times):.1f} ms at the median (at most 25)")
        logging = subprocess.Popen(["wrk", "-t1", "-c2", "-d12s", "-H", f"Authorization: Bearer {token}",
                                    "-s", str(HERE / "append.lua"), f"http://{address}/"], stdout=subprocess.DEVNULL)
        time.sleep(1)
        half, p99, _ = wrk(address, "/api/v1/" + season, token, 2)
        logging.wait()
        print(f"the same while entries come in and the loops reckon: {half:.0f}/s, p99 {p99:.1f} ms (at most 10)")
        rate, p99, refused = wrk(address, f"/api/v1/blocks/block-1/seasons/{YEAR}/log", token, 64, HERE / "append.lua")
        print(f"log entries from 64 clients: {rate:.0f}/s (at least 5,000), p99 {p99:.0f} ms, {refused} refused")
        bare.terminate()
        fill(api, pathlib.Path(folder) / "b.db")
        process.terminate()
        process.wait(60)
        size = (pathlib.Path(folder) / "b.db").stat().st_size / 2**20
        process, _, _, took = started(program, folder)
        print(f"start to ready on {blocks} blocks, {size:.0f} MB: {took:.2f} s (at most 0.3)")
        process.terminate()
        process.wait(60)


if __name__ == "__main__":
    main()
