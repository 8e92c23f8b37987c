// Keeping the screen on while a watch is shown, where the browser can.

let lock = null;

export async function keepAwake(wanted) {
  if (!wanted) {
    await lock?.release().catch(() => {});
    lock = null;
    return;
  }
  if (lock !== null || document.visibilityState !== "visible" || !navigator.wakeLock) return;
  try {
    const got = await navigator.wakeLock.request("screen");
    lock = got;
    got.addEventListener("release", () => {
      if (lock === got) lock = null;
    });
  } catch {
    lock = null; // an empty battery may refuse; asked anew with the next picture
  }
}
