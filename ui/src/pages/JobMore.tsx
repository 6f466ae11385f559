import { at } from "../api/at";
import type { ComponentChildren } from "preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { call, Refusal } from "../api/call";
import type { JobCard } from "../api/kinds";
import { Refused } from "../parts/Refused";
import { say } from "../parts/toast";
import { t } from "../words";
import { dayWords } from "./due";

interface Props { job: JobCard; open: boolean; setOpen: (open: boolean) => void; again: () => void }

/** What else can be done with a job, behind one word. */
export function JobMore({ job, open, setOpen, again }: Props) {
  const [form, setForm] = useState<"name" | "due" | null>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const word = useRef<HTMLButtonElement>(null);
  const id = `more-${job.id}`;

  const close = (): void => {
    setForm(null);
    setRefusal(null);
    setOpen(false);
    word.current?.focus();
  };
  const attempt = async (change: () => Promise<void>): Promise<void> => {
    setRefusal(null);
    try {
      await change();
      again();
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      setRefusal(error);
    }
  };

  const copy = () => attempt(async () => {
    const made = await call("POST", at("/api/jobs/{job_id}/copy", { job_id: job.id }));
    close();
    say(t.more.copied(made.name));
  });
  const putAway = () => attempt(async () => {
    await setArchived(job, true);
    focusBeside(job.id);
    say(t.more.away(job.name), () => void takeBack(() => setArchived(job, false), again));
  });
  const remove = () => attempt(async () => {
    await call("DELETE", at("/api/jobs/{job_id}", { job_id: job.id }));
    focusBeside(job.id);
    say(t.more.deleted(job.name), () => void takeBack(() => call("POST", at("/api/jobs/{job_id}/restore", { job_id: job.id })), again));
  });
  const change = (fields: { name?: string; due_on?: string | null }, words: string) => attempt(async () => {
    await call("PATCH", at("/api/jobs/{job_id}", { job_id: job.id }), { version: job.version, ...fields });
    close();
    say(words);
  });

  return (
    <>
      <button ref={word} class="more" aria-expanded={open} aria-controls={open ? id : undefined} aria-label={t.more.of(job.name)} onClick={() => (open ? close() : setOpen(true))}>
        {t.more.word}
      </button>
      {open && (
        <div class="more-words" id={id} onKeyDown={(event) => event.key === "Escape" && close()}>
          {form === null && (
            <>
              <First><button class="plain" onClick={() => setForm("name")}>{t.more.rename}</button></First>
              <button class="plain" onClick={() => setForm("due")}>{t.more.due}</button>
              <button class="plain" onClick={() => void copy()}>{t.more.copy}</button>
              <button class="plain" onClick={() => void putAway()}>{t.more.putAway}</button>
              <button class="away" onClick={() => void remove()}>{t.more.remove}</button>
            </>
          )}
          {form === "name" && (
            <OneField label={t.more.name} cancel={() => setForm(null)} keep={(name) => void change({ name }, t.more.renamed(name))}>
              <input name="value" class="name" defaultValue={job.name} required maxLength={200} autocomplete="off" />
            </OneField>
          )}
          {form === "due" && (
            <OneField
              label={t.more.day} cancel={() => setForm(null)} extra={job.due_on && <button type="button" class="plain" onClick={() => void change({ due_on: null }, t.more.dated(job.name, t.due.none))}>{t.more.noDay}</button>}
              keep={(day) => void change({ due_on: day || null }, t.more.dated(job.name, day ? t.due.on(dayWords(day)) : t.due.none))}
            >
              <input name="value" type="date" defaultValue={job.due_on ?? ""} required />
            </OneField>
          )}
          <Refused refusal={refusal} />
        </div>
      )}
    </>
  );
}

/** Puts the focus on what has just opened. */
function First({ children }: { children: ComponentChildren }) {
  const at = useRef<HTMLSpanElement>(null);
  useEffect(() => {
    const first = at.current?.querySelector<HTMLElement>("input, button");
    first?.focus();
    if (first instanceof HTMLInputElement && first.type === "text") first.select();
  }, []);
  return <span ref={at}>{children}</span>;
}

interface OneFieldProps { label: string; children: ComponentChildren; extra?: ComponentChildren; keep: (value: string) => void; cancel: () => void }

function OneField({ label, children, extra, keep, cancel }: OneFieldProps) {
  return (
    <form
      class="one-field"
      onSubmit={(event) => {
        event.preventDefault();
        keep(String(new FormData(event.currentTarget).get("value") ?? "").trim());
      }}
    >
      <First><label>{label} {children}</label></First>
      <button class="main">{t.common.save}</button>
      {extra}
      <button type="button" class="plain" onClick={cancel}>{t.common.cancel}</button>
    </form>
  );
}

/** Putting away does not touch what others change meanwhile, so the newest version is taken. */
async function setArchived(job: JobCard, archived: boolean): Promise<void> {
  const path = at("/api/jobs/{job_id}", { job_id: job.id });
  const { version } = await call("GET", path);
  await call("PATCH", path, { version, archived });
}

/** Undo comes when the row is gone: what it is refused with is said where undo was. */
async function takeBack(change: () => Promise<unknown>, again: () => void): Promise<void> {
  try {
    await change();
  } catch (error) {
    if (!(error instanceof Refusal)) throw error;
    say(error.told.sentence);
  }
  again();
}

/** The row is about to go: the focus moves to its neighbour, or to the head of the list. */
function focusBeside(id: string): void {
  const rows = [...document.querySelectorAll<HTMLElement>("li:not([hidden]) > .job-row")];
  const at = rows.findIndex((row) => row.id === `job-${id}`);
  const beside = rows[at + 1] ?? rows[at - 1];
  (beside?.querySelector<HTMLElement>("h3 a") ?? document.getElementById("jobs-title"))?.focus();
}
