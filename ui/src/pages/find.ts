/** Looking for a name: every word must be in it, whatever its case and accents. */

function bare(text: string): string {
  return text.normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();
}

export function isNamed(name: string, wanted: string): boolean {
  const hay = bare(name);
  return bare(wanted).split(/\s+/).every((word) => hay.includes(word));
}
