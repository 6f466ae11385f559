import { t } from "../words";

/** Said while an answer is awaited, but only once it takes a while. */
export function Moment({ until }: { until: unknown }) {
  return until ? null : <p class="moment" role="status">{t.common.loading}</p>;
}
