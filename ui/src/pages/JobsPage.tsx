import { at } from "../api/at";
import { signal } from "@preact/signals";
import { useMemo, useState } from "preact/hooks";
import { call, Refusal } from "../api/call";
import type { Job, JobCard } from "../api/kinds";
import { useAsked } from "../live/ask";
import { Refused } from "../parts/Refused";
import { say } from "../parts/toast";
import { Top } from "../parts/Top";
import { go, place } from "../router";
import { t } from "../words";
import { GROUPS, groupOf, today } from "./due";
import { isNamed } from "./find";
import { JobRow } from "./JobRow";
import "./jobs.css";
import { Moment } from "./Moment";
import { takeIn, toServer } from "./uploads";
import { Uploads } from "./Uploads";
import { useDrop } from "./useDrop";

/** From this many jobs on, a name is looked for rather than read through. */
const MANY = 8;
const FORMATS = ".stl,.obj,.ply,.3mf,.glb,.gltf,.off";

/** Kept while other pages are shown, so that coming back finds the same list. */
const wanted = signal("");

function take(files: File[]): void {
  if (files.length > 0) takeIn(files, { ...toServer, arrived });
}

function arrived(job: Job, alone: boolean): void {
  if (alone && place.value.page === "jobs") go(`/jobs/${job.id}`);
  else say(`${job.name}: ${t.drop.done}`);
}

/** The list of jobs; a mesh let go anywhere on it starts another. */
export function JobsPage() {
  const asked = useAsked(at("/api/jobs"), "jobs", "figures");
  const over = useDrop(take);
  const jobs = asked.data?.jobs;
  return (
    <>
      <Top />
      <main class="page jobs">
        {jobs?.length === 0 ? <NoJobs /> : (
          <div class="jobs-head">
            <h1 id="jobs-title" tabIndex={-1}>{t.jobs.title}</h1>
            <p class="start"><ChooseMesh /> <span class="small">{t.jobs.startMore}</span></p>
          </div>
        )}
        <Uploads />
        <Refused refusal={asked.refusal} />
        <Moment until={jobs ?? asked.refusal} />
        {jobs && jobs.length > 0 && <JobList jobs={jobs} again={asked.again} />}
      </main>
      {over && (
        <div class="let-go" aria-hidden="true">
          <p><strong>{t.drop.letGo}</strong><br />{t.drop.letGoMore}</p>
        </div>
      )}
    </>
  );
}

function ChooseMesh() {
  return (
    <label class="button choose-file">
      {t.jobs.start}
      <input
        type="file" accept={FORMATS} multiple class="unseen"
        onChange={(event) => {
          take([...(event.currentTarget.files ?? [])]);
          event.currentTarget.value = "";
        }}
      />
    </label>
  );
}

function NoJobs() {
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const demo = async (): Promise<void> => {
    try {
      go(`/jobs/${(await call("POST", at("/api/jobs/demo"))).id}`);
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      setRefusal(error);
    }
  };
  return (
    <div class="no-jobs">
      <h1 class="unseen">{t.jobs.title}</h1>
      <FirstPull />
      <p class="empty">{t.jobs.empty}</p>
      <p class="start"><ChooseMesh /> <span class="small">{t.jobs.emptyFormats}</span></p>
      <p><button class="plain" onClick={() => void demo()}>{t.jobs.demo}</button></p>
      <Refused refusal={refusal} />
    </div>
  );
}

/** A mesh on its board, its skin and two shell pieces, drawn as on the packet. */
function FirstPull() {
  return (
    <svg class="drawing" viewBox="0 0 320 170" aria-hidden="true">
      <path d="M8 150h304" />
      <path d="M96 150c0-58 22-96 64-96s64 38 64 96" class="dashed" />
      <path d="M78 150v-6c4-66 30-108 82-108s78 42 82 108v6" class="skin" />
      <path d="M52 150v-10h12C68 70 102 20 154 18v18M268 150v-10h-12C252 70 218 20 166 18v18" />
      <path d="M60 62 34 44m1 9-1-9 9-1M260 62l26-18m-9-1 9 1-1 9" class="pull" />
    </svg>
  );
}

function JobList({ jobs, again }: { jobs: JobCard[]; again: () => void }) {
  const words = jobs.length >= MANY ? wanted.value.trim() : "";
  const now = today();
  const groups = useMemo(() => GROUPS.map((group) => ({ group, jobs: jobs.filter((job) => groupOf(job, now) === group) })).filter((some) => some.jobs.length > 0), [jobs, now]);
  // rows stay and are hidden: making hundreds of them anew at each letter would be felt
  const rows = useMemo(() => new Map(jobs.map((job) => [job.id, <JobRow job={job} now={now} again={again} />])), [jobs, now]);
  const shown = new Set(jobs.filter((job) => !words || isNamed(job.name, words)).map((job) => job.id));
  return (
    <>
      {jobs.length >= MANY && (
        <p class="find">
          <label for="find-job">{t.jobs.filter}</label>
          <input id="find-job" type="search" value={wanted.value} autocomplete="off" spellcheck={false} onInput={(event) => (wanted.value = event.currentTarget.value)} />
          <span class="small" role="status">{words && t.jobs.found(shown.size, jobs.length)}</span>
        </p>
      )}
      {shown.size === 0 && <p class="nothing">{t.jobs.nothing(words)} <button class="plain" onClick={() => (wanted.value = "")}>{t.jobs.showAll}</button></p>}
      {groups.map(({ group, jobs: some }) => {
        const count = some.filter((job) => shown.has(job.id)).length;
        return (
          <section key={group} class={`due-group ${group}`} aria-labelledby={`group-${group}`} hidden={count === 0}>
            <h2 id={`group-${group}`}>{t.jobs.groups[group]} <span class="small">{count}</span></h2>
            <ul>{some.map((job) => <li key={job.id} hidden={!shown.has(job.id)}>{rows.get(job.id)}</li>)}</ul>
          </section>
        );
      })}
    </>
  );
}
