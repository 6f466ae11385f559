import type { ComponentChildren } from "preact";
import { place } from "../router";
import { setSystem, system } from "../units";
import { t } from "../words";
import { Mark } from "./Mark";

/** The line at the head of each page. */
export function Top({ children }: { children?: ComponentChildren }) {
  const page = place.value.page;
  const here = (name: string) => (page === name ? ("page" as const) : undefined);
  return (
    <header class="top">
      <a class="name" href="/">
        <Mark />
        {t.name}
      </a>
      <div class="where">{children}</div>
      <nav aria-label={t.nav.main}>
        <a href="/" aria-current={here("jobs")}>{t.nav.jobs}</a>
        <a href="/materials" aria-current={here("materials")}>{t.nav.materials}</a>
        <a href="/away" aria-current={here("away")}>{t.nav.away}</a>
      </nav>
      <button class="plain" aria-label={`${t.nav.units}: ${system.value === "metric" ? t.nav.metric : t.nav.inch}`} onClick={() => setSystem(system.value === "metric" ? "inch" : "metric")}>
        {system.value === "metric" ? t.nav.metric : t.nav.inch}
      </button>
    </header>
  );
}
