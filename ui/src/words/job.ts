/** Words of one job, fetched when a job is opened. */

import { job } from "./en-job";

export const jobWords: typeof job = job;
