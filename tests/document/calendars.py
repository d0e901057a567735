"""A farm's calendar against PyPI `icalendar`.

Reads the calendar that the renderer's own test keeps. Then starts the program on a
fresh database, has a block come into bloom, fetches its calendar as a program that
shows calendars does, corrects a count, and revokes the address. Without a program
only the kept calendar is read.

    target/python/bin/python tests/document/calendars.py [PROGRAM]
"""

import datetime
import json
import math
import pathlib
import sys
import tempfile
import time
import urllib.error
import urllib.request

import icalendar

from check import started

HERE = pathlib.Path(__file__).parent
HOUR = datetime.timedelta(hours=1)
LONGEST = 20  # seconds until a season is reckoned, on a machine that does much else


def entries(text):
    """The calendar's name, and its entries by their UID; what holds for each of them is looked at."""
    calendar = icalendar.Calendar.from_ical(text)
    assert calendar["VERSION"] == "2.0" and calendar["CALSCALE"] == "GREGORIAN"
    assert calendar["REFRESH-INTERVAL"].dt == HOUR, calendar["REFRESH-INTERVAL"]
    assert calendar["NAME"] == calendar["X-WR-CALNAME"]
    found = {}
    for entry in calendar.walk("VEVENT"):
        assert not entry.errors, entry.errors
        assert entry["UID"] not in found, "twice: " + entry["UID"]
        found[str(entry["UID"])] = entry
        for when in ("DTSTART", "DTEND", "DTSTAMP", "LAST-MODIFIED"):
            assert entry[when].dt.utcoffset() == datetime.timedelta(0), (when, entry[when])
        assert entry["DTEND"].dt - entry["DTSTART"].dt == HOUR / 2
        assert entry["DTSTAMP"].dt == entry["LAST-MODIFIED"].dt
        assert 0 < int(entry["SEQUENCE"]) < 2**31
        assert entry["STATUS"] in ("TENTATIVE", "CONFIRMED") and entry["TRANSP"] == "TRANSPARENT"
        last = entry["DESCRIPTION"].split("\n")[-2:]
        assert "it is the law" in last[0] and "not the alert" in last[1], last
    return str(calendar["NAME"]), found


def read_kept():
    """What the renderer wrote, names with commas and from right to left with it."""
    text = (HERE / "calendar.ics").read_bytes()
    assert all(len(line) <= 75 for line in text.split(b"\r\n"))
    name, found = entries(text)
    assert name == "Larkmoor: blossom thinning", name
    summaries = {uid: str(entry["SUMMARY"]) for uid, entry in found.items()}
    assert summaries["bench.2013.mark.start@bloomtide"] == "Bench, upper; half: mark of spray 1 reached", summaries
    assert found["bench.2013.mark.spray-1@bloomtide"]["STATUS"] == "TENTATIVE"
    assert summaries["تل.2013.count@bloomtide"] == "التل: count open flowers", summaries
    kinds = {category for entry in found.values() for category in entry["CATEGORIES"].cats}
    assert kinds == {"Bloom start", "Spray", "Re-entry", "Count"}, kinds
    print(f"icalendar read {len(found)} kept entries")


class Client:
    """Asks the program with a token."""

    def __init__(self, address, token):
        self.address, self.token = address, token

    def ask(self, method, path, body=None):
        headers = {"Authorization": f"Bearer {self.token}", "Content-Type": "application/json", "If-Match": "*"}
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(f"{self.address}/api/v1/{path}", data, headers, method=method)
        with urllib.request.urlopen(request) as answer:
            text = answer.read()
        return json.loads(text) if text else None

    def fetch(self, path, tag=None):
        """Status, tag and body of a calendar, asked without the token."""
        request = urllib.request.Request(self.address + path, headers={"If-None-Match": tag} if tag else {})
        try:
            with urllib.request.urlopen(request) as answer:
                assert answer.headers["Content-Type"] == "text/calendar; charset=utf-8"
                assert "private" in answer.headers["Cache-Control"]
                return answer.status, answer.headers["ETag"], answer.read()
        except urllib.error.HTTPError as error:
            return error.code, None, b""


def in_bloom(client, now):
    """A farm with one block that came into bloom some hours ago. Gives its season's path."""
    client.ask("POST", "farms", {"id": "larkmoor", "name": "Larkmoor"})
    client.ask("POST", "sites", {"id": "ridge", "farm_id": "larkmoor", "name": "Ridge", "latitude": 40.6925,
                                 "longitude": -74.1687, "time_zone": "America/New_York"})
    client.ask("POST", "sites/ridge/sources", {"id": "book", "name": "Book", "way": "hand"})
    # Warm by day, and no two days alike: the checks know values that come again.
    wave = [3 * math.sin((now.hour - n) / 24 * math.tau) + n * 7 % 13 / 10 for n in range(24 * 6 + 1)]
    hours = [{"at": (now - n * HOUR).isoformat(), "celsius": round(12 + wave[n], 1)} for n in range(24 * 6, -1, -1)]
    client.ask("POST", "sites/ridge/readings", {"source": "book", "readings": hours})
    client.ask("POST", "blocks", {"id": "bench", "farm_id": "larkmoor", "site_id": "ridge", "name": "Bench, upper; half",
                                  "cultivar": "Gala", "curve": "reference", "target_fruit_per_tree": 100})
    season = f"blocks/bench/seasons/{(now - 48 * HOUR).year}"
    client.ask("PUT", season + "/plan", {"sprays": [{"material": "ammonium-thiosulfate", "mark": 0.05}]})
    client.ask("POST", season + "/log", {"entries": [
        {"id": "count-1", "kind": "open-count", "at": (now - 48 * HOUR).isoformat(), "open_per_tree": [35, 40, 45]},
        {"id": "count-2", "kind": "open-count", "at": (now - 24 * HOUR).isoformat(), "open_per_tree": [110, 120, 130]},
        {"id": "yes", "kind": "decision", "at": (now - 24 * HOUR).isoformat(), "thin": True}]})
    return season


def until(client, path, holds):
    """The calendar's entries once they are as is waited for."""
    end = time.monotonic() + LONGEST
    while True:
        status, tag, text = client.fetch(path)
        assert status == 200, status
        found = entries(text)[1]
        if holds(found):
            return tag, found
        assert time.monotonic() < end, "the calendar stays at " + text.decode()
        time.sleep(0.1)


def read_running(program):
    """The calendar of the running program."""
    with tempfile.TemporaryDirectory(prefix="bloomtide-calendar-") as folder:
        process, address, token = started(program, folder)
        try:
            client = Client(address, token)
            now = datetime.datetime.now(datetime.timezone.utc).replace(microsecond=0)
            season = in_bloom(client, now)
            made = client.ask("POST", "farms/larkmoor/calendars", {"name": "Wall"})
            path, year = made["path"], season.rsplit("/", 1)[1]
            start, mark = f"bench.{year}.start@bloomtide", f"bench.{year}.mark.start@bloomtide"

            tag, found = until(client, path, lambda found: mark in found)
            shown = client.ask("GET", season)
            assert found[start]["DTSTART"].dt == datetime.datetime.fromisoformat(shown["start"]["at"])
            assert found[mark]["DTSTART"].dt == datetime.datetime.fromisoformat(shown["legs"][0]["reached_at"])
            assert "Bench, upper; half: " in found[mark]["SUMMARY"] and "spray 1" in found[mark]["SUMMARY"]
            assert client.fetch(path, tag)[0] == 304

            entry = {"kind": "open-count", "at": (now - 24 * HOUR).isoformat(), "open_per_tree": [310, 320, 330]}
            client.ask("POST", season + "/log", {"id": "fix-1", "kind": "correction", "at": now.isoformat(),
                                                 "of": "count-2", "entry": entry})
            then = found[start]["DTSTART"].dt
            tag, corrected = until(client, path, lambda found: found[start]["DTSTART"].dt != then)
            assert set(corrected) == set(found), (set(corrected), set(found))
            for uid in (start, mark):
                assert int(corrected[uid]["SEQUENCE"]) > int(found[uid]["SEQUENCE"]), uid

            client.ask("DELETE", "calendars/" + made["id"])
            assert client.fetch(path, tag)[0] == 404
            print(f"icalendar read {len(corrected)} entries of the running program; revoked, nothing stands there")
        finally:
            process.terminate()
            process.wait(20)


if __name__ == "__main__":
    read_kept()
    if len(sys.argv) > 1:
        read_running(sys.argv[1])
