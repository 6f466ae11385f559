/** Words of the list of jobs and of what was put away. */

const n = (count: number, one: string, many: string): string => `${count} ${count === 1 ? one : many}`;

export const pages = {
  jobs: {
    title: "Jobs",
    start: "Choose a mesh", startMore: "or let one go anywhere on this page",
    empty: "Let go a mesh here, and a proven mould, a casting plan and a printed packet come back.",
    emptyFormats: "STL, OBJ, PLY, 3MF, GLB or OFF",
    demo: "Try it on the heron half-mask",
    filter: "Find a job", found: (count: number, all: number): string => `${count} of ${n(all, "job", "jobs")}`,
    nothing: (words: string): string => `No job is called “${words}”.`, showAll: "Show all",
    groups: { late: "Late", soon: "Due within a week", later: "Due later", open: "No date", finished: "Cast and done" },
    castings: (count: number): string => n(count, "good casting", "good castings"), stages: (name: string): string => `Stages of ${name}`,
  },
  drop: {
    letGo: "Let go to start a job", letGoMore: "several files make several jobs",
    title: "On their way in", sending: (share: number): string => `${Math.round(share * 100)} %`, kept: "Being looked at …", waiting: "Waits for its turn",
    stop: "Stop", clear: "Take off the list", done: "Is in",
    folder: (name: string): string => `“${name}” is a folder, or cannot be read. Let go the mesh files themselves.`,
    tooLarge: (name: string, size: string, limit: string): string => `“${name}” has ${size}; up to ${limit} are taken. Reduce the number of triangles, or save it as a binary file.`,
  },
  due: {
    none: "No date", today: "due today", tomorrow: "due tomorrow", on: (day: string): string => `due ${day}`,
    in: (days: number): string => `in ${n(days, "day", "days")}`, late: (days: number): string => n(days, "day late", "days late"),
  },
  stage: {
    names: { master: "Master", mould: "Mould", cast: "Cast" },
    states: { waiting: "not yet", working: "under way", attention: "look here", planned: "planned", done: "done" },
  },
  more: {
    word: "More", of: (name: string): string => `More for ${name}`, rename: "Rename", due: "Due date", copy: "Copy", putAway: "Put away", remove: "Delete",
    name: "Name", day: "Due on", noDay: "No date",
    renamed: (name: string): string => `Now called “${name}”.`, copied: (name: string): string => `Copied as “${name}”.`,
    away: (name: string): string => `“${name}” is put away.`, deleted: (name: string): string => `“${name}” is deleted. It stays under Put away for 30 days.`,
    dated: (name: string, due: string): string => `“${name}”: ${due}.`,
  },
  away: {
    title: "Put away", archived: "Kept for good", deleted: "Deleted, kept for 30 days", back: "Bring back", backOf: (name: string): string => `Bring back ${name}`,
    lead: "Nothing here takes part in the list of jobs. All of it can come back as it was.",
    noArchived: "No job is put away.", noDeleted: "No job is deleted.", since: (day: string): string => `put away ${day}`, until: (day: string): string => `kept until ${day}`,
    isBack: (name: string): string => `“${name}” is back among the jobs.`,
  },
};
