import { at } from "../api/at";
import { useState } from "preact/hooks";
import { call, Refusal, send } from "../api/call";
import type { Job } from "../api/kinds";
import { Refused } from "../parts/Refused";
import { say } from "../parts/toast";
import { bytes } from "../pages/typed";
import { useDrop } from "../pages/useDrop";
import { jobWords as w } from "../words/job";

/** A newer mesh of the same design: chosen, or let go anywhere on the page. What was locked stays. */
export function NewRevision({ job }: { job: Job }) {
  const [share, setShare] = useState<number | null>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const take = async (files: File[]): Promise<void> => {
    const [file] = files;
    if (!file || share !== null) return;
    setRefusal(null);
    setShare(0);
    try {
      const limit = file.size > 50_000_000 ? (await call("GET", at("/api/about"))).upload_limit_bytes : Infinity;
      if (file.size > limit) throw tooLarge(file, limit);
      const now = await send<Job>(at("/api/jobs/{job_id}/revisions", { job_id: job.id }, { file: file.name }), file, setShare);
      say(w.revisions.taken(now.revisions.length, file.name));
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      setRefusal(error);
      say(error.told.sentence);
    } finally {
      setShare(null);
    }
  };
  const over = useDrop((files) => void take(files));
  return (
    <section aria-label={w.revisions.title}>
      <h2>{w.revisions.title}</h2>
      <ol class="revisions">
        {job.revisions.map((one) => (
          <li key={one.id}>{w.revisions.one(one.number, one.file_name)} <span class="small">{bytes(one.size_bytes)}, {new Date(one.added_at).toLocaleDateString("en-GB", { day: "numeric", month: "long" })}</span></li>
        ))}
      </ol>
      <label class="button plain newer">
        {share === null ? w.revisions.newer : w.revisions.sending(Math.round(share * 100))}
        <input type="file" class="unseen" accept=".stl,.obj,.ply,.3mf,.glb,.gltf,.off" onChange={(event) => { void take([...(event.currentTarget.files ?? [])]); event.currentTarget.value = ""; }} />
      </label>
      <p class="small">{w.revisions.help}</p>
      <Refused refusal={refusal} />
      {over && <div class="let-go" aria-hidden="true"><p><strong>{w.revisions.letGo(job.revisions.length + 1)}</strong></p></div>}
    </section>
  );
}

function tooLarge(file: File, limit: number): Refusal {
  return new Refusal({ code: "upload_too_large", where: "", found: "", limit: "", remedy: "", sentence: w.revisions.tooLarge(file.name, bytes(file.size), bytes(limit)) }, 0);
}
