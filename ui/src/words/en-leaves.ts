/** Words of the materials and of the leaves: the job sheet, a stage done, what is taken away. */

const n = (count: number, one: string, many: string): string => `${count} ${count === 1 ? one : many}`;

export const leaves = {
  materials: {
    title: "Materials", lead: "Each figure spans its class; your tin is narrower. Set what you measured, and plans use it from then on.",
    kinds: { silicone: "Silicone rubbers", resin: "Casting resins", powder: "Powders", shell: "Shells", clay: "Clays", release: "Release", thickener: "Thickeners", practice: "Ways of working" } as Record<string, string>,
    choose: "Material", figure: "Figure", usual: "Usual", range: "Range", rests: "Rests on", none: "No figures are needed for this one.",
    range2: (low: string, high: string): string => `${low} to ${high}`, own: (count: number): string => `${count} own`, ownFlag: "this shop's own",
    set: "Set own", change: "Change", shoreA: "Shore A", actOn: (word: string, figure: string): string => `${word}: ${figure}`,
    rowSays: (words: string): string => `The row says ${words}.`, back: "Back to the row's", isBack: (figure: string): string => `${figure} is the row's again.`,
    low: "Low", typical: "Usual", high: "High", note: "Where it comes from", noteHelp: "Such as: twelve cups timed in November",
    lowHelp: "one in twenty lies below", highHelp: "one in twenty lies above", use: "Use this figure", isSet: (figure: string): string => `${figure} is now this shop's own.`,
    unknown: (id: string): string => `There is no material “${id}”.`,
    marks: { published: "published", "common practice": "common practice", "from memory": "from memory: look at your tin", own: "this shop's own" } as Record<string, string>,
    names: {
      shore: "Hardness", density: "Density", part_a_density: "Density of part A", part_b_density: "Density of part B", b_per_100a: "Part B to 100 of part A",
      pot_life: "Pot life", recoat_from: "Next coat from", recoat_until: "Next coat until", demould: "Demould after", first_resin_after: "First resin after", activation_energy: "Activation energy",
      shrinkage: "Shrinkage", elongation: "Stretch before it tears", tear_strength: "Tear strength", waste_large: "Left in the cup, large batch", waste_small: "Left in the cup, small batch",
      gel: "Gel time", humidity_limit: "Humidity limit", smallest_batch: "Smallest batch", true_density: "Density of the metal", bulk_density: "Density as poured",
      ratio_bulk: "Powder to resin by volume", ratio_weight: "Powder to resin by weight", thickness: "Thickness", set_time: "Setting time", piece_wait: "Wait before the next piece",
      waste: "Waste", glass_share: "Share of glass", use: "Amount", dry: "Drying time", dose: "Dose", print_coat: "First coat", thickened_coat: "Thickened coat", thickness_ratio: "Thickest to mean",
      brush_rate: "Brushed in a minute", placing_rate: "Placed in a minute", stir: "Stirring", coat: "Coat", slush_rate: "Slushed in a minute", thin_wall_demould: "Demould time of a thin wall",
      cleaner_pulls: "Pulls before release again", backup_castings: "Castings held back", rejects: "Rejects",
    } as Record<string, string>,
  },
  sheet: {
    title: "Job sheet", find: "Find a field", nothing: (words: string): string => `No field speaks of “${words}”.`,
    lead: "What you leave empty is assumed, and stands dashed.", assumed: "assumed", said: "said by you", takeOut: "Take out", takeOutOf: (what: string): string => `Take out ${what}`,
    set: (count: number): string => `${count} set`, setInView: "Set in the view of the mould", allowed: (low: string, high: string): string => `${low} to ${high}`, above: (low: string): string => `above ${low}`, upTo: (high: string): string => `up to ${high}`, noNumber: (text: string): string => `“${text}” is no number. Write it in digits, such as 6 or 3.5.`,
    noThree: (text: string): string => `“${text}” is not three numbers. Write them like 220, 220, 250.`,
    groups: { job: "The job", shop: "The shop", master: "Master", board: "Board", skin: "Silicone skin", shell: "Shell", cast: "Cast", packet: "Packet", "": "On its own" } as Record<string, string>,
    changed: "Somebody else changed this sheet while you did.", theirs: "Theirs", yours: "Yours", keepMine: "Keep mine", takeTheirs: "Take theirs", otherFields: "Somebody else changed other fields meanwhile; yours stands beside theirs.",
    assumedIs: (value: string): string => `${value}, assumed`, yes: "yes", no: "no",
    yaml: "As a file", save: "Save as YAML", take: "Take from YAML", choose: "Choose a file", paste: "or paste it here", put: "Use this sheet", isPut: "The sheet is taken.", putAnyway: "Use mine all the same",
    saving: "Keeping it …",
  },
  done: {
    title: (stage: string): string => `${stage} is done`, day: "Day", measured: "What you measured", note: "Note", optional: "as far as you know", mark: "Mark as done", keep: "Keep", unmark: "Not done after all",
    isDone: (stage: string): string => `${stage} is marked as done.`, notDone: (stage: string): string => `${stage} is open again.`,
  },
  take: {
    title: "Take away", packetMore: (size: string): string => `PDF for the bench, ${size}`, open: "Open the packet", zip: "Everything, as a zip", zipMore: (count: number, size: string): string => `${n(count, "file", "files")}, ${size}`,
    model: "All parts, as 3MF", modelMore: "named and coloured parts in one file", files: "Single files", old: "This plan is older than the job sheet: its files are those of the plan as it was.",
    none: "This plan has no files.", folders: { "": "The plan", mould: "mould", gauges: "gauges", pictures: "Pictures" } as Record<string, string>,
  },
};
