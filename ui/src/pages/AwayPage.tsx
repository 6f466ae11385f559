import { at } from "../api/at";
import { useState } from "preact/hooks";
import { call, Refusal } from "../api/call";
import type { JobCard } from "../api/kinds";
import { useAsked } from "../live/ask";
import { Refused } from "../parts/Refused";
import { say } from "../parts/toast";
import { Top } from "../parts/Top";
import { t } from "../words";
import { dayWords, keptUntil, today } from "./due";
import { JobPicture } from "./JobPicture";
import "./jobs.css";
import { Moment } from "./Moment";

/** Jobs that were put away or deleted; each can come back. */
export function AwayPage() {
  const archived = useAsked(at("/api/jobs", null, { archived: true }), "jobs");
  const deleted = useAsked(at("/api/jobs/deleted"), "jobs");
  const again = (): void => {
    archived.again();
    deleted.again();
  };
  return (
    <>
      <Top />
      <main class="page away">
        <h1 id="away-title" tabIndex={-1}>{t.away.title}</h1>
        <p class="lead">{t.away.lead}</p>
        <Refused refusal={archived.refusal ?? deleted.refusal} />
        <Moment until={archived.data ?? archived.refusal} />
        {archived.data && (
          <section aria-labelledby="archived">
            <h2 id="archived">{t.away.archived}</h2>
            {archived.data.jobs.length === 0 && <p class="small">{t.away.noArchived}</p>}
            <ul>{archived.data.jobs.map((job) => <Row key={job.id} job={job} again={again} />)}</ul>
          </section>
        )}
        {deleted.data && (
          <section aria-labelledby="deleted">
            <h2 id="deleted">{t.away.deleted}</h2>
            {deleted.data.jobs.length === 0 && <p class="small">{t.away.noDeleted}</p>}
            <ul>{deleted.data.jobs.map((job) => <Row key={job.id} job={job} again={again} />)}</ul>
          </section>
        )}
      </main>
    </>
  );
}

function Row({ job, again }: { job: JobCard; again: () => void }) {
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const back = async (): Promise<void> => {
    try {
      if (job.deleted_at) await call("POST", at("/api/jobs/{job_id}/restore", { job_id: job.id }));
      else await call("PATCH", at("/api/jobs/{job_id}", { job_id: job.id }), { version: job.version, archived: false });
      document.getElementById("away-title")?.focus();
      say(t.away.isBack(job.name));
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      setRefusal(error);
    }
    again();
  };
  return (
    <li class="away-row">
      <JobPicture src={job.picture} />
      <div class="about">
        <h3>{job.deleted_at ? job.name : <a href={`/jobs/${job.id}`}>{job.name}</a>}</h3>
        <p class="facts">
          {job.deleted_at ? t.away.until(dayWords(keptUntil(job.deleted_at))) : job.archived_at && t.away.since(dayWords(today(new Date(job.archived_at))))}
        </p>
        <Refused refusal={refusal} />
      </div>
      <button class="plain" aria-label={t.away.backOf(job.name)} onClick={() => void back()}>{t.away.back}</button>
    </li>
  );
}
