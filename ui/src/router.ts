/** Where in the app we are, as the address says. */

import { computed, signal } from "@preact/signals";

const address = signal(location.pathname);

addEventListener("popstate", () => {
  address.value = location.pathname;
});

export type Place =
  | { page: "jobs" }
  | { page: "away" }
  | { page: "materials" }
  | { page: "job"; job: string; stage: string }
  | { page: "nowhere" };

export const place = computed<Place>(() => {
  const parts = address.value.split("/").filter(Boolean).map(decodeURIComponent);
  if (parts.length === 0) return { page: "jobs" };
  if (parts[0] === "away" && parts.length === 1) return { page: "away" };
  if (parts[0] === "materials" && parts.length === 1) return { page: "materials" };
  if (parts[0] === "jobs" && parts.length <= 3 && parts[1])
    return { page: "job", job: parts[1], stage: parts[2] ?? "" };
  return { page: "nowhere" };
});

export function go(path: string, replace = false): void {
  history[replace ? "replaceState" : "pushState"](null, "", path);
  address.value = location.pathname;
  scrollTo(0, 0);
}

/** Links within the app change the address without fetching the page anew. */
export function followLinks(event: MouseEvent): void {
  if (event.defaultPrevented || event.button !== 0 || event.metaKey || event.ctrlKey || event.shiftKey || event.altKey) return;
  const link = (event.target as Element).closest?.("a");
  if (!link || link.target || link.hasAttribute("download") || link.origin !== location.origin) return;
  if (link.pathname.startsWith("/api/")) return;
  // a place on the page that is shown: the browser goes there by itself
  if (link.hash && link.pathname === location.pathname) return;
  event.preventDefault();
  go(link.pathname + link.hash);
}
