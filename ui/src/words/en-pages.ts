/** Words of the list of jobs, of what was put away, of the materials and of the sheet's form. */

export const pages = {
  jobs: { title: "Jobs" },
};
