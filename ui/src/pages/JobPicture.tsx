/** The part as last planned; before that, a shape on its board that waits to be seen. */
export function JobPicture({ src }: { src: string | null }) {
  if (src) return <img class="job-picture" src={src} alt="" loading="lazy" decoding="async" width={132} height={99} />;
  return (
    <svg class="job-picture" viewBox="0 0 132 99" aria-hidden="true">
      <path d="M18 78h96" />
      <path d="M34 78c0-33 10-53 32-53s32 20 32 53" stroke-dasharray="5 4" />
      <path d="M66 18v-6M66 25v53" class="faint" />
    </svg>
  );
}
