"""The synthesiser's own process: JSON lines in on standard input, replies out on its former output.

pyttsx3 prints, so what it knows as standard output leads nowhere. eSpeak NG comes from a wheel, not the system.
A request is {"id", "text", "path", "language", "rate_wpm", "volume"}; its reply {"id", "error", "language"}: error
null when a WAV file was written, and the language it speaks. The first line of all is {"ready": true}. The end of
standard input ends the process and clears away the folder that it may be given, also when the synthesiser hangs:
a watch that is killed leaves nothing behind.
"""

from __future__ import annotations

import ctypes
import json
import os
import queue
import shutil
import sys
import tempfile
import threading
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Any, TextIO

import espeakng_loader

from watchkeeper.edges.voice_sound import level_file

DEFAULT_LANGUAGE = "en"
END_WITHIN_S = 5.0
"""After the end of standard input; a callout takes hundredths of a second."""
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


def serve(requests: Iterable[str], replies: TextIO, driver: Any) -> None:
    """Answer requests until there are no more."""

    def reply(line: dict[str, Any]) -> None:
        replies.write(json.dumps(line) + "\n")
        replies.flush()

    reply({"ready": True})
    for line in requests:
        request = json.loads(line)
        try:
            done = synthesise(request, driver)
        except Exception as fault:  # noqa: BLE001  (pyttsx3 raises anything; the next words may be spoken)
            done = {"error": repr(fault)}
        reply({"id": request["id"], **done})


def _listen(requests: queue.SimpleQueue[str], folders: Iterable[str]) -> None:
    """Hand on requests; after the last one, end the process even if it hangs."""
    for line in sys.stdin:
        requests.put(line)
    requests.put("")
    time.sleep(END_WITHIN_S)
    for folder in folders:
        shutil.rmtree(folder, ignore_errors=True)
    os._exit(1)


def main() -> None:
    """Run the process. An argument names the folder of the WAV files, which goes when the process ends."""
    private = os.dup(1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.close(nowhere)
    requests: queue.SimpleQueue[str] = queue.SimpleQueue()
    with (
        open(private, "w", encoding="utf-8") as replies,  # noqa: PTH123  (a descriptor, no path)
        tempfile.TemporaryDirectory(prefix="watchkeeper-") as scratch,
    ):
        folders = [scratch, *sys.argv[1:2]]
        threading.Thread(target=_listen, args=(requests, folders), daemon=True).start()
        serve(iter(requests.get, ""), replies, load_library(Path(scratch)))
    for folder in folders:
        shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
