import { at } from "../api/at";
import type { Job } from "../api/kinds";
import { useAsked } from "../live/ask";
import { Moment } from "../pages/Moment";
import { bytes } from "../pages/typed";
import { leaf } from "../words/leaves";
import { Leaf } from "./Leaf";
import "./leaves.css";
import { Refused } from "./Refused";

interface PlanFile { path: string; size_bytes: number }

/** What a plan leaves behind: the packet first, then everything together, then each file. */
export function TakeAway({ job, runId, close }: { job: Job; runId: string; close: () => void }) {
  const of = { run_id: runId };
  const asked = useAsked(at("/api/runs/{run_id}/files", of), `run:${runId}`);
  const files = asked.data?.files;
  const packet = files?.find((file) => file.path.endsWith("packet.pdf"));
  return (
    <Leaf title={leaf.take.title} close={close}>
      <Refused refusal={asked.refusal} />
      <Moment until={files ?? asked.refusal} />
      {job.plan_id === runId && !job.plan_is_current && <p class="told">{leaf.take.old}</p>}
      {files?.length === 0 && <p>{leaf.take.none}</p>}
      {files && files.length > 0 && (
        <div class="take">
          {packet && (
            <a class="packet" href={at("/api/runs/{run_id}/packet.pdf", of)} target="_blank" rel="noopener">
              <Page />
              <span><strong>{leaf.take.open}</strong><span class="small">{leaf.take.packetMore(bytes(packet.size_bytes))}</span></span>
            </a>
          )}
          <p><a class="plain" href={at("/api/runs/{run_id}/all.zip", of)} download>{leaf.take.zip}</a> <span class="small">{leaf.take.zipMore(files.length, bytes(files.reduce((sum, file) => sum + file.size_bytes, 0)))}</span></p>
          <p><a class="plain" href={at("/api/runs/{run_id}/all.3mf", of)} download>{leaf.take.model}</a> <span class="small">{leaf.take.modelMore}</span></p>
          <h3>{leaf.take.files}</h3>
          {byFolder(files).map(({ folder, files: some }) => (
            <section key={folder}>
              <h4>{folder.split("/").map((name) => leaf.take.folders[name] ?? name).join(", ")}</h4>
              <ul>
                {some.map((file) => (
                  <li key={file.path}>
                    <a href={at("/api/runs/{run_id}/files/{path}", { ...of, path: file.path })} download>{file.path.slice(folder ? folder.length + 1 : 0)}</a>
                    <span class="size">{bytes(file.size_bytes)}</span>
                  </li>
                ))}
              </ul>
            </section>
          ))}
        </div>
      )}
    </Leaf>
  );
}

/** Files by their folder: what stands at the top first, pictures last. */
function byFolder(files: PlanFile[]): { folder: string; files: PlanFile[] }[] {
  const folderOf = (file: PlanFile): string => file.path.slice(0, Math.max(0, file.path.lastIndexOf("/")));
  const rank = (folder: string): number => (folder === "" ? 0 : folder.startsWith("pictures") ? 2 : 1);
  const folders = [...new Set(files.map(folderOf))].sort((one, other) => rank(one) - rank(other));
  return folders.map((folder) => ({ folder, files: files.filter((file) => folderOf(file) === folder) }));
}

function Page() {
  return (
    <svg viewBox="0 0 44 56" aria-hidden="true">
      <path d="M2 2h40v52H2z" class="page-edge" />
      <path d="M8 10h18M8 46h28M8 40h28M12 32c0-10 4-15 10-15s10 5 10 15M9 32h26" />
    </svg>
  );
}
