import { render } from "preact";
import { useEffect } from "preact/hooks";
import "./look.css";
import { connected, listen } from "./live/live";
import { later } from "./parts/later";
import { Toast } from "./parts/toast";
import { Top } from "./parts/Top";
import { JobsPage } from "./pages/JobsPage";
import { followLinks, place } from "./router";
import { t } from "./words";

const jobPage = () => import("./job/JobPage").then((m) => m.JobPage);
const JobPage = later(jobPage);
const MaterialsPage = later(() => import("./pages/MaterialsPage").then((m) => m.MaterialsPage));
const AwayPage = later(() => import("./pages/AwayPage").then((m) => m.AwayPage));

const QUIET_MS = 700;

function App() {
  useEffect(() => {
    listen();
    document.addEventListener("click", followLinks);
    // what comes next is most likely a job: its page is fetched while nobody waits for anything
    const quiet = setTimeout(() => void jobPage().catch(() => undefined), QUIET_MS);
    return () => clearTimeout(quiet);
  }, []);
  const at = place.value;
  return (
    <>
      {!connected.value && <p class="told" role="alert">{t.lost}</p>}
      {at.page === "jobs" && <JobsPage />}
      {at.page === "job" && <JobPage key={at.job} id={at.job} stage={at.stage} />}
      {at.page === "materials" && <MaterialsPage />}
      {at.page === "away" && <AwayPage />}
      {at.page === "nowhere" && (
        <>
          <Top />
          <main class="page">
            <h1>{t.nowhere.title}</h1>
            <p><a href="/">{t.nowhere.back}</a></p>
          </main>
        </>
      )}
      <Toast />
    </>
  );
}

const host = document.getElementById("app")!;
host.replaceChildren();
render(<App />, host);
