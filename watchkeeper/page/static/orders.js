// What the crew asks for.

/**
 * Send an order; resolves to {done, reason}, and never rejects. What the server thinks of it is in `reason`.
 * `patience_ms`: how long until it counts as not sent.
 */
export async function order(what, patience_ms = 5000) {
  const giveUp = new AbortController();
  const timer = setTimeout(() => giveUp.abort(), patience_ms);
  try {
    const answer = await fetch("/orders", {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ aircraft: null, rule: null, minutes: null, text: null, ...what }),
      signal: giveUp.signal,
      credentials: "same-origin",
      cache: "no-store",
    });
    if (answer.status === 403) return { done: false, reason: "this device may not" };
    if (!answer.ok) return { done: false, reason: `refused (${answer.status})` };
    const said = await answer.json();
    return { done: said.done === true, reason: typeof said.reason === "string" ? said.reason : "" };
  } catch {
    return { done: false, reason: "no answer" };
  } finally {
    clearTimeout(timer);
  }
}
