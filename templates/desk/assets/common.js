// What all pages' scripts share.
document.documentElement.classList.add("scripted");

/** The token that shows a request to be from our own page. */
export const token = () => document.querySelector('meta[name="token"]')?.content ?? "";

/** Asks the desk, as a script; `body` is sent as JSON. Gives the answer's data, or throws its sentence. */
export async function ask(path, body) {
  const given = { headers: { "x-token": token() } };
  if (body !== undefined) {
    given.method = "POST";
    given.headers["content-type"] = "application/json";
    given.body = JSON.stringify(body);
  }
  const answer = await fetch(path, given);
  const data = await answer.json();
  if (!answer.ok) throw new Error(data.error ?? "That did not go.");
  return data;
}

/** Waits until nothing has been asked for `ms`, then does it once. */
export function later(ms, work) {
  let timer;
  return (...given) => {
    clearTimeout(timer);
    timer = setTimeout(() => work(...given), ms);
  };
}
