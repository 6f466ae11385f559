import type { ComponentType } from "preact";
import { useEffect, useState } from "preact/hooks";

/** A page whose code is fetched when it is first shown. */
export function later<P extends object>(fetch: () => Promise<ComponentType<P>>): ComponentType<P> {
  let known: ComponentType<P> | null = null;
  return function Later(props: P) {
    const [Page, setPage] = useState<{ of: ComponentType<P> } | null>(known ? { of: known } : null);
    useEffect(() => {
      if (!Page) void fetch().then((of) => setPage({ of: (known = of) }));
    }, []);
    return Page ? <Page.of {...props} /> : null;
  };
}
