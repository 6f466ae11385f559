/** Something asked of the server that keeps itself up to date while a page shows it. */

import { useEffect, useRef, useState } from "preact/hooks";
import type { Address, Answer, Path } from "../api/at";
import { call, Refusal } from "../api/call";
import { onChange } from "./live";

export interface Asked<T> {
  data: T | null;
  refusal: Refusal | null;
  /** Put in what a change answered with, without asking again. */
  put: (data: T) => void;
  again: () => void;
}

/** Args: path, or null to ask nothing; names of changes after which it is asked again. */
export function useAsked<P extends Path>(path: Address<P> | null, ...after: string[]): Asked<Answer<P, "get">> {
  type T = Answer<P, "get">;
  const [state, setState] = useState<{ path: string | null; data: T | null; refusal: Refusal | null }>({ path: null, data: null, refusal: null });
  const turn = useRef(0);
  const [count, setCount] = useState(0);

  useEffect(() => {
    if (path === null) return;
    const mine = ++turn.current;
    const abort = new AbortController();
    call("GET", path, undefined, abort.signal).then(
      (data) => mine === turn.current && setState({ path, data: (data ?? null) as T | null, refusal: null }),
      (error: unknown) => {
        if (mine !== turn.current || (error as Error).name === "AbortError") return;
        if (!(error instanceof Refusal)) throw error;
        // what was shown stays while the server is away
        setState((old) => ({ path, data: old.path === path && error.status === 0 ? old.data : null, refusal: error }));
      },
    );
    return () => abort.abort();
  }, [path, count]);

  useEffect(() => {
    const again = (): void => setCount((n) => n + 1);
    const off = after.map((name) => onChange(name, again));
    return () => off.forEach((stop) => stop());
  }, after);

  const mine = state.path === path;
  return {
    data: mine ? state.data : null,
    refusal: mine ? state.refusal : null,
    put: (data) => {
      turn.current++;
      setState({ path, data, refusal: null });
    },
    again: () => setCount((n) => n + 1),
  };
}
