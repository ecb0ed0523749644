from firmware_host.clock import VirtualClock
from firmware_host.controller.controller import Description
from firmware_host.controller.finding import Finding, find
from firmware_host.controller.port.port import Port
from firmware_host.errors import PortBusyError
from tests.controller.scripted import GREETING, IDLE
from tests.support.scripted_port import ScriptedPort

PROBE = b"N99999999 M114*23\n"
DESCRIPTION = Description("XYZ", 128, 15, {"$0": "10", "$1": "255"})


def expect_description(port: ScriptedPort) -> None:
    settings = b"$0=10\r\n$1=255\r\nok\r\n"
    port.expect(b"?", IDLE)
    port.expect(b"$$\n", settings)
    port.expect(b"$I\n", b"[OPT:V,15,128]\r\nok\r\n")
    port.expect(b"$$\n", settings)


def test_each_port_is_asked_once_and_told_what_is_there() -> None:
    clock = VirtualClock()
    ports = {url: ScriptedPort(clock, url) for url in ("greeter", "quiet", "slow", "foreign", "dead")}
    ports["quiet"].expect(b"?", IDLE)  # at once: nobody greets there
    expect_description(ports["quiet"])
    ports["slow"].expect(b"?")
    ports["slow"].expect(PROBE, b"error:20\r\n")  # a line that a board of the other dialect refuses
    ports["slow"].expect(b"?", IDLE)
    expect_description(ports["slow"])
    ports["greeter"].expect(b"?")  # it starts, and does not hear it
    expect_description(ports["greeter"])
    for silent in ("foreign", "dead"):
        ports[silent].expect(b"?")
        ports[silent].expect(PROBE)
        ports[silent].expect(b"?")

    def open_url(url: str) -> Port:
        if url == "busy":
            raise PortBusyError(url, "end that process", 4711)
        if url == "greeter":
            ports[url].say(GREETING, after_s=1.5)
        if url == "foreign":
            ports[url].say(b"hello\r\n", after_s=0.5)
        return ports[url]

    asked: list[str] = []

    def confirm(url: str) -> bool:
        asked.append(url)
        return url != "precious"

    urls = ["greeter", "quiet", "slow", "foreign", "dead", "busy", "precious"]
    found = find(urls, clock, open_url=open_url, confirm=confirm)
    assert asked == urls
    assert found == (
        Finding("greeter", "status-query", "Board ['$' for help]", DESCRIPTION),
        Finding("quiet", "status-query", "did not greet; is ready", DESCRIPTION),
        Finding("slow", "status-query", "did not greet; is ready", DESCRIPTION),
        Finding("foreign", None, "answers, but not in a known dialect: b'hello'. Check its speed (baud)"),
        Finding("dead", None, "silent. Check its speed (baud)"),
        Finding("busy", None, "port busy: in use by process 4711; end that process"),
        Finding("precious", None, "left alone: opening it may reset what is connected"),
    )
    assert [port.closed for port in ports.values()] == [1, 1, 1, 1, 1]
    assert all(port.done for port in ports.values())


def test_a_port_that_goes_away_while_asking_is_a_finding_and_is_closed() -> None:
    clock = VirtualClock()
    port = ScriptedPort(clock, "gone")
    port.lost = True
    found = find(["gone"], clock, open_url=lambda url: port, confirm=lambda url: True)
    assert found == (Finding("gone", None, "port gone: gone"),)
    assert port.closed == 1
