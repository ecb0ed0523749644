from firmware_host.clock import VirtualClock
from firmware_host.controller.finding import Finding, find
from firmware_host.controller.port import Port
from firmware_host.errors import PortBusyError
from tests.controller.scripted import GREETING, IDLE
from tests.support.scripted_port import ScriptedPort


def test_each_port_is_asked_once_and_told_what_is_there() -> None:
    clock = VirtualClock()
    ports = {url: ScriptedPort(clock, url) for url in ("greeter", "quiet", "foreign", "dead")}
    ports["quiet"].expect(b"?", IDLE)
    ports["foreign"].expect(b"?")
    ports["dead"].expect(b"?")

    def open_url(url: str) -> Port:
        if url == "busy":
            raise PortBusyError(url, "end that process", 4711)
        if url == "greeter":
            ports[url].say(GREETING, after_s=1.5)
        if url == "foreign":
            ports[url].say(b"start\r\n", after_s=0.5)
        return ports[url]

    asked: list[str] = []

    def confirm(url: str) -> bool:
        asked.append(url)
        return url != "precious"

    urls = ["greeter", "quiet", "foreign", "dead", "busy", "precious"]
    found = find(urls, clock, open_url=open_url, confirm=confirm)
    assert asked == urls
    assert found == (
        Finding("greeter", "status-query", "Board ['$' for help]"),
        Finding("quiet", "status-query", "did not greet; is ready"),
        Finding("foreign", None, "answers, but in no known dialect: b'start'. Check its speed (baud)"),
        Finding("dead", None, "silent. Check its speed (baud)"),
        Finding("busy", None, "port busy: held by process 4711; end that process"),
        Finding("precious", None, "left alone: opening it may reset what is connected"),
    )
    assert [port.closed for port in ports.values()] == [1, 1, 1, 1]
    assert ports["greeter"].written == []


def test_a_port_that_goes_away_while_asking_is_a_finding_and_is_closed() -> None:
    clock = VirtualClock()
    port = ScriptedPort(clock, "gone")
    port.lost = True
    found = find(["gone"], clock, open_url=lambda url: port, confirm=lambda url: True)
    assert found == (Finding("gone", None, "port gone: gone"),)
    assert port.closed == 1
