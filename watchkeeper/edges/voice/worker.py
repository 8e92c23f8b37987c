"""The synthesiser's own process: JSON lines in on standard input, replies out on its former output.

pyttsx3 prints, so what it knows as standard output leads nowhere. eSpeak NG comes from a wheel, not the system; on
Windows and macOS the system's own voices go first (drivers.py).

A request is {"id", "text", "path", "language", "rate_wpm", "volume"}; its reply {"id", "error", "language"}: error
null when a WAV file was written, and the language it speaks. A reply with {"last": true} is the last of a process
that has rendered MAX_RENDERED or has grown too large. The first line of all is {"ready": true}. The end of
standard input ends the process and clears away the folder that it may be given, also when the synthesiser hangs: a
watch that is killed leaves nothing behind.
"""

from __future__ import annotations

import contextlib
import ctypes
import importlib
import json
import os
import queue
import re
import shutil
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, TextIO

import espeakng_loader

from watchkeeper.edges.voice.drivers import ESPEAK, own_driver, speak_to_file
from watchkeeper.edges.voice.sound import MAX_WAV_BYTES, level_file

resource: Any = importlib.import_module("resource") if sys.platform != "win32" else None

DEFAULT_LANGUAGE = "en-us"
END_WITHIN_S = 5.0
"""After the end of standard input; a callout takes hundredths of a second."""
MAX_RENDERED = 5000
MAX_MEMORY_BYTES = 250_000_000
"""eSpeak NG took 18 MB after one callout and after 1500."""
_DATA_LIMIT_BYTES = 1_000_000_000
"""What the system refuses one callout, however mad."""
_LONGEST_DATA_PATH = 120  # eSpeak NG keeps its data path in 160 bytes, names of files appended included


def load_library(scratch: Path) -> Any:
    """Load eSpeak NG from its wheel and make it the one that pyttsx3's driver uses. Returns that driver's module.

    `scratch` holds a short link to the voice data where their own path is too long for eSpeak NG.
    """
    data = Path(espeakng_loader.get_data_path())
    if len(os.fsencode(data)) > _LONGEST_DATA_PATH:
        link = scratch / data.name
        link.symlink_to(data, target_is_directory=True)
        data = link
    os.environ["ESPEAK_DATA_PATH"] = str(data)
    library = ctypes.CDLL(espeakng_loader.get_library_path())
    # The driver tries the names of system libraries, one after the other, while it is imported. Whatever the
    # system has, it is to get ours.
    loader: Any = ctypes.cdll
    loader.LoadLibrary = lambda _name: library
    try:
        from pyttsx3.drivers import _espeak  # noqa: PLC0415  (only after the library has been found)
    finally:
        del loader.LoadLibrary
    _make_synchronous(_espeak)
    return _espeak


def _make_synchronous(driver: Any) -> None:
    """Let every call of eSpeak NG be done when it returns.

    pyttsx3 has it work in a thread and does not wait: as measured, every fourth callout came out at another rate
    than was set, and some files were empty or missing when runAndWait came back. The event by which pyttsx3 knows
    that words are finished comes only from that thread, so it is given here.
    """
    driver.AUDIO_OUTPUT_RETRIEVAL = driver.AUDIO_OUTPUT_SYNCHRONOUS
    begin = driver.Synth

    def synth(text: bytes, *, flags: int) -> int:
        result: int = begin(text, flags=flags)
        events = (driver.EVENT * 2)()
        events[0].type, events[1].type = driver.EVENT_MSG_TERMINATED, driver.EVENT_LIST_TERMINATED
        driver.SynthCallback(None, 0, events)
        return result

    driver.Synth = synth


def synthesise(request: dict[str, Any], driver: Any) -> dict[str, str | None]:
    """Write one WAV file. Returns the reply: what went wrong, if anything, and the language spoken."""
    from pyttsx3.engine import Engine  # noqa: PLC0415  (only after its driver)

    errors: list[str] = []
    # A fresh engine each time, so that no words or errors of the last remain. eSpeak NG itself stays loaded.
    engine = Engine("espeak")
    engine.connect("error", lambda name, exception: errors.append(repr(exception)))  # noqa: ARG005  (its names)
    language = str(request["language"])
    if driver.SetVoiceByName(language.encode()) != driver.EE_OK:
        language = DEFAULT_LANGUAGE
    engine.setProperty("voice", language)
    engine.setProperty("rate", int(request["rate_wpm"]))
    engine.setProperty("volume", 1.0)  # the crew's choice is applied to the levelled samples
    finished: list[bool] = []
    engine.connect("finished-utterance", lambda name, completed: finished.append(completed))  # noqa: ARG005
    engine.save_to_file(str(request["text"]), str(request["path"]))
    engine.runAndWait()
    if not errors and not finished:
        errors.append("no sound was finished")
    if not errors:
        level_file(Path(request["path"]), float(request["volume"]))  # here, where it delays nothing that is played
    return {"error": errors[0] if errors else None, "language": language}


class Speaker:
    """The system's own voice where it has one for the language, else eSpeak NG, loaded when first needed."""

    def __init__(self, scratch: Path, platform: str = sys.platform) -> None:
        self._scratch = scratch
        self._own = own_driver(platform)
        self._espeak = load_library(scratch) if self._own == ESPEAK else None

    def speak(self, request: dict[str, Any]) -> dict[str, str | None]:
        """Write one WAV file as voice_sound reads it. Returns the reply."""
        if self._own != ESPEAK:
            from watchkeeper.edges.voice.files import make_ours  # noqa: PLC0415  (eSpeak NG starts sooner without)

            try:
                done = speak_to_file(self._own, request)
                make_ours(Path(str(request["path"])))
            except Exception:  # noqa: BLE001  (a driver raises anything; words go before the voice that is preferred)
                Path(str(request["path"])).unlink(missing_ok=True)
            else:
                if done["error"] is None:
                    return done
        if self._espeak is None:
            self._espeak = load_library(self._scratch)
        return synthesise(request, self._espeak)


def serve(
    requests: Iterable[str],
    replies: TextIO,
    speak: Callable[[dict[str, Any]], dict[str, str | None]],
    *,
    max_rendered: int = MAX_RENDERED,
) -> None:
    """Answer requests until there are no more, or until it is time for a fresh process."""

    def reply(line: dict[str, Any]) -> None:
        replies.write(json.dumps(line) + "\n")
        replies.flush()

    reply({"ready": True})
    for number, line in enumerate(requests, 1):
        request = json.loads(line)
        done: dict[str, Any]
        try:
            done = speak(request)
        except Exception as fault:  # noqa: BLE001  (pyttsx3 raises anything; the next words may be spoken)
            done = {"error": repr(fault)}
        if number >= max_rendered or most_memory_bytes() > MAX_MEMORY_BYTES:
            reply({"id": request["id"], **done, "last": True})
            return
        reply({"id": request["id"], **done})


def most_memory_bytes() -> int:
    """Return the most memory that this process has held; 0 where that is not told."""
    try:  # not getrusage first: Linux counts there what the process had before it became this program
        held = re.search(
            r"^VmHWM:\s*(\d+) kB", Path("/proc/self/status").read_text("ascii", "replace"), re.MULTILINE
        )
    except OSError:
        held = None
    if held is not None:
        return 1024 * int(held[1])
    if resource is None:
        return 0
    most = int(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
    return most if sys.platform == "darwin" else 1024 * most


def _limit() -> None:
    """Have the system stop what would fill memory or disk."""
    if resource is not None:
        for kind, most in ((resource.RLIMIT_DATA, _DATA_LIMIT_BYTES), (resource.RLIMIT_FSIZE, 2 * MAX_WAV_BYTES)):
            with contextlib.suppress(ValueError, OSError):  # a lower limit stands already
                resource.setrlimit(kind, (most, most))


def _listen(requests: queue.SimpleQueue[str], folder: str) -> None:
    """Hand on requests; after the last one, end the process even if it hangs."""
    for line in sys.stdin:
        requests.put(line)
    requests.put("")
    time.sleep(END_WITHIN_S)
    shutil.rmtree(folder, ignore_errors=True)
    os._exit(1)


def main() -> None:
    """Run the process. An argument names the folder of the WAV files, which goes when the process ends."""
    private = os.dup(1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.close(nowhere)
    _limit()
    requests: queue.SimpleQueue[str] = queue.SimpleQueue()
    folder = sys.argv[1] if len(sys.argv) > 1 else tempfile.mkdtemp(prefix="watchkeeper-")
    with open(private, "w", encoding="utf-8") as replies:  # noqa: PTH123  (a descriptor, no path)
        threading.Thread(target=_listen, args=(requests, folder), daemon=True).start()
        asked = iter(requests.get, "")
        serve(asked, replies, Speaker(Path(folder)).speak)
        for _ in asked:  # after the last of many: what was written is to stay until it has been read
            pass
    shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
