/** Asking the server; a refusal arrives as one sentence with its parts. */

import type { Address, Answer, Body, Path } from "./at";

export interface RefusalShape {
  code: string;
  where: string;
  found: string;
  limit: string;
  remedy: string;
  sentence: string;
  theirs?: unknown;
}

export class Refusal extends Error {
  constructor(readonly told: RefusalShape, readonly status: number) {
    super(told.sentence);
  }
}

const LOST: RefusalShape = {
  code: "no_answer",
  where: "The program",
  found: "does not answer",
  limit: "",
  remedy: "Look whether it still runs in its window; what you entered stays on this page.",
  sentence: "The program does not answer. Look whether it still runs in its window; what you entered stays on this page.",
};

type Method = "GET" | "POST" | "PUT" | "PATCH" | "DELETE";

/** Asks a route; what it is handed and answers with is as the interface's document says. */
export async function call<P extends Path, M extends Method>(
  method: M,
  path: Address<P>,
  body?: Body<P, Lowercase<M>>,
  signal?: AbortSignal,
): Promise<Answer<P, Lowercase<M>>> {
  const init: RequestInit = { method, headers: { accept: "application/json" } };
  if (signal) init.signal = signal;
  if (typeof body === "string") init.body = body;
  else if (body !== undefined) {
    init.body = JSON.stringify(body);
    init.headers = { accept: "application/json", "content-type": "application/json" };
  }
  let answer: Response;
  try {
    answer = await fetch(path, init);
  } catch (error) {
    if ((error as Error).name === "AbortError") throw error;
    throw new Refusal(LOST, 0);
  }
  if (!answer.ok) throw new Refusal(await shapeOf(answer), answer.status);
  if (answer.status === 204) return undefined as Answer<P, Lowercase<M>>;
  return (answer.headers.get("content-type")?.includes("json") ? answer.json() : answer.text()) as Promise<Answer<P, Lowercase<M>>>;
}

async function shapeOf(answer: Response): Promise<RefusalShape> {
  try {
    const told = (await answer.json()) as RefusalShape;
    if (typeof told.sentence === "string") return told;
  } catch {
    // not of the program's own making: told in general words below
  }
  const sentence = `The program answered with ${answer.status}. Try again; if it stays, start it anew.`;
  return { code: "no_answer", where: "The program", found: `answered with ${answer.status}`, limit: "", remedy: "", sentence };
}

/** A file sent with its progress, which fetch cannot tell; a stop rejects with an AbortError. */
export function send<T>(path: string, file: Blob, progress: (share: number) => void, stop?: AbortSignal): Promise<T> {
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    request.open("POST", path);
    request.responseType = "json";
    request.upload.onprogress = (event) => progress(event.lengthComputable ? event.loaded / event.total : 0);
    request.onerror = () => reject(new Refusal(LOST, 0));
    request.onload = () => {
      if (request.status >= 200 && request.status < 300) return resolve(request.response as T);
      reject(new Refusal((request.response as RefusalShape | null) ?? LOST, request.status));
    };
    request.onabort = () => reject(new DOMException("stopped", "AbortError"));
    stop?.addEventListener("abort", () => request.abort());
    request.send(file);
  });
}
