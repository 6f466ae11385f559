import { useState } from "preact/hooks";
import type { JobCard } from "../api/kinds";
import { UnderWay } from "../parts/UnderWay";
import { t } from "../words";
import { dayWords, dueIn, isFinished } from "./due";
import { JobMore } from "./JobMore";
import { JobPicture } from "./JobPicture";
import { StageMarks } from "./StageMarks";

/** One job in the list: what it is, when it is due, where it stands, and what comes next. */
export function JobRow({ job, now, again }: { job: JobCard; now: string; again: () => void }) {
  const [open, setOpen] = useState(false);
  const href = `/jobs/${job.id}`;
  const underWay = job.run?.state === "waiting" || job.run?.state === "working";
  return (
    <div class="job-row" id={`job-${job.id}`}>
      <a class="picture" href={href} tabIndex={-1} aria-hidden="true"><JobPicture src={job.picture} /></a>
      <div class="about">
        <h3><a href={href}>{job.name}</a></h3>
        <p class="facts"><Due job={job} now={now} />{job.castings !== null && <span>{t.jobs.castings(job.castings)}</span>}</p>
      </div>
      <StageMarks stages={job.stages} label={t.jobs.stages(job.name)} />
      <div class="next">
        {(!underWay || job.next.stage) && <a class="plain" href={job.next.stage ? `${href}/${job.next.stage}` : href}>{job.next.words}</a>}
        {underWay && <UnderWay run={job.run} />}
      </div>
      <JobMore job={job} open={open} setOpen={setOpen} again={again} />
    </div>
  );
}

function Due({ job, now }: { job: JobCard; now: string }) {
  if (job.due_on === null) return null;
  if (isFinished(job)) return <span>{t.due.on(dayWords(job.due_on, now))}</span>;
  const near = dueIn(job.due_on, now);
  return (
    <span class={job.due_on < now ? "due late" : "due"}>
      <strong>{near}</strong> <time dateTime={job.due_on}>{dayWords(job.due_on, now)}</time>
    </span>
  );
}
