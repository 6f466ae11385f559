/** The mark of the program: a skin on its board, and the pull that frees it. */
export function Mark() {
  return (
    <svg viewBox="0 0 32 32" aria-hidden="true">
      <path d="M5 25c0-12 5-19 11-19s11 7 11 19M2 25h28" fill="none" stroke="var(--mark)" stroke-width="3" />
      <path d="M16 16v-14M12 5.6 16 1.6 20 5.6" fill="none" stroke="var(--mind)" stroke-width="2.2" />
    </svg>
  );
}
