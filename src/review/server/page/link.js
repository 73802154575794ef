// What goes to and comes from the program. The address of this page holds its token, so every
// address here is relative to it.

async function checked(answer) {
  if (answer.ok) return answer;
  throw new Error((await answer.text()).trim() || `refused (${answer.status})`);
}

export async function ask(path) {
  return (await checked(await fetch(path))).json();
}

export async function tell(what) {
  const answer = await fetch("actions", {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify(what),
  });
  return (await checked(answer)).json();
}

// Decoded pictures by address, the latest last.
const kept = new Map();
const KEPT = 28;

export function picture(path) {
  let found = kept.get(path);
  kept.delete(path);
  if (!found) {
    found = fetch(path)
      .then(checked)
      .then((answer) => answer.blob())
      .then((blob) => createImageBitmap(blob));
    // A failure may pass: it is asked for again next time.
    found.catch(() => kept.delete(path));
  }
  kept.set(path, found);
  for (const [old, bitmap] of kept) {
    if (kept.size <= KEPT) break;
    kept.delete(old);
    bitmap.then((b) => b.close(), () => {});
  }
  return found;
}
