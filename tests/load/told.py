"""From a reading to the mail that tells of it, with the loops at work on many blocks.

    target/python/bin/python tests/load/told.py PROGRAM [BLOCKS] [TIMES]

A mail server of a few lines takes every message and notes when it answered 250. Each
time one reading brings a block of its own to its mark. Printed are the seconds from
the answer to the upload to that 250 (pass line: 60 s at the median), and the
milliseconds from the 250 until the database says that it was sent (pass line: 50 ms
at the 99th percentile; what is read a second time while it is written counts in).
"""

import datetime
import email
import http.client
import pathlib
import socketserver
import sqlite3
import statistics
import sys
import tempfile
import threading
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent))
from load import Api, seed, started  # noqa: E402

taken = {}
arrived = threading.Condition()


class Sink(socketserver.StreamRequestHandler):
    """One conversation."""

    def say(self, text):
        self.wfile.write(text.encode() + b"\r\n")

    def handle(self):
        self.say("220 sink")
        to = None
        while line := self.rfile.readline():
            word = line[:4].upper()
            if word == b"RCPT":
                to = line.split(b"<")[1].split(b">")[0].decode()
            if word == b"DATA":
                self.say("354 go on")
                body = b""
                while (line := self.rfile.readline()) != b".\r\n":
                    body += line
                kinds = email.message_from_bytes(body)["X-Bloomtide-Alert"] or ""
                self.say("250 taken")
                with arrived:
                    taken[to, "due" if "due;" in kinds else "other"] = time.monotonic()
                    arrived.notify_all()
                continue
            self.say("221 bye" if word == b"QUIT" else "250 sink")
            if word == b"QUIT":
                return


def at(hours):
    moment = datetime.datetime.now(datetime.timezone.utc) + datetime.timedelta(hours=hours)
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")


def plant(api, number):
    """A block a tenth of an hour beyond its mark, as soon as a last reading comes."""
    farm, site, block = f"told-{number}", f"told-{number}", f"told-{number}"
    api.ask("POST", "farms", {"id": farm, "name": farm, "alert_emails": [f"{farm}@sink.example"]})
    api.ask("POST", "sites", {"id": site, "farm_id": farm, "name": site, "latitude": 40.7, "longitude": -74.2,
                              "time_zone": "America/New_York"})
    api.ask("POST", f"sites/{site}/sources", {"id": f"{site}-book", "name": "Book", "way": "hand"})
    readings = [{"at": at(-hours), "celsius": 15 + hours % 3 / 1000} for hours in range(31, 0, -1)]
    api.ask("POST", f"sites/{site}/readings", {"source": f"{site}-book", "readings": readings})
    year = datetime.datetime.now().year
    api.ask("POST", "blocks", {"id": block, "farm_id": farm, "site_id": site, "name": block, "cultivar": "Gala",
                               "curve": "reference", "target_fruit_per_tree": 100})
    api.ask("PUT", f"blocks/{block}/seasons/{year}/plan",
            {"sprays": [{"material": "ammonium-thiosulfate", "mark": 0.6}]})
    api.ask("POST", f"blocks/{block}/seasons/{year}/log", {"id": "start", "kind": "bloom-start", "at": at(-28.95)})


def wait_for(key):
    with arrived:
        if not arrived.wait_for(lambda: key in taken, 120):
            sys.exit(f"{key} never came")
        return taken[key]


def main():
    program = sys.argv[1]
    blocks = int(sys.argv[2]) if len(sys.argv) > 2 else 10_000
    times = int(sys.argv[3]) if len(sys.argv) > 3 else 100
    server = socketserver.ThreadingTCPServer(("127.0.0.1", 0), Sink)
    server.daemon_threads = True
    threading.Thread(target=server.serve_forever, daemon=True).start()
    with tempfile.TemporaryDirectory() as folder:
        checks = pathlib.Path(folder, "checks.toml")
        checks.write_text("flat_suspect_hours = 1000\nflat_fail_hours = 1000\n")
        process, address, said, _ = started(program, folder, "--smtp", f"smtp://127.0.0.1:{server.server_address[1]}",
                                            "--checks", str(checks), ready="token for the API")
        api = Api(address, said.split("shown this once: ")[1].split()[0])
        seed(api, blocks)
        for number in range(times):
            plant(api, number)
        for number in range(times):
            wait_for((f"told-{number}@sink.example", "other"))
        time.sleep(5)
        database = sqlite3.connect(f"file:{folder}/b.db?mode=ro", uri=True, isolation_level=None)
        late, window = [], []
        for number in range(times):
            to = f"told-{number}@sink.example"
            sent = "SELECT count(*) FROM message WHERE recipient = ? AND state = 'sent'"
            before = database.execute(sent, [to]).fetchone()[0]
            api.ask("POST", f"sites/told-{number}/readings",
                    {"source": f"told-{number}-book", "readings": [{"at": at(0), "celsius": 15.001}]})
            begun = time.monotonic()
            answered = wait_for((to, "due"))
            while database.execute(sent, [to]).fetchone()[0] == before:
                pass
            late.append(answered - begun)
            window.append((time.monotonic() - answered) * 1000)
        window.sort()
        print(f"{blocks} blocks, {times} readings that bring a block to its mark")
        print(f"stored to 250: {statistics.median(late):.2f} s at the median, {max(late):.2f} s at most (pass line 60 s)")
        print(f"250 to commit: {statistics.median(window):.1f} ms at the median, "
              f"{window[int(0.99 * (len(window) - 1))]:.1f} ms at the 99th percentile (pass line 50 ms)")
        process.terminate()
        process.wait()


if __name__ == "__main__":
    try:
        main()
    except http.client.HTTPException as error:
        sys.exit(f"the program does not answer: {error}")
