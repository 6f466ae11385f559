/** The view as a picture of a given size, with its pins and lengths drawn in. */

import { Vector3 } from "three";
import type { Bed } from "./bed";
import type { Measure } from "./measure";
import { spotOf } from "./overlay";
import type { Palette } from "./palette";
import type { Pins } from "./pins";

const PIN_SHARE = 0.017; // of the picture's shorter side

/** Draws at that size and puts the view back before anything is shown. */
export function pictured(bed: Bed, pins: Pins, measure: Measure, width: number, height: number): Promise<Blob> {
  const paper = document.createElement("canvas");
  paper.width = width;
  paper.height = height;
  const pen = paper.getContext("2d")!;
  bed.stage.sized(width, height, () => {
    pen.drawImage(bed.stage.canvas, 0, 0, width, height);
    mark(pen, bed, pins, measure, Math.max(9, Math.min(width, height) * PIN_SHARE));
  });
  return new Promise((done, failed) =>
    paper.toBlob((blob) => (blob ? done(blob) : failed(new Error("The picture could not be made."))), "image/png"),
  );
}

function mark(pen: CanvasRenderingContext2D, bed: Bed, pins: Pins, measure: Measure, r: number): void {
  const palette = bed.palette();
  pen.font = `600 ${r * 1.15}px ${getComputedStyle(bed.stage.over).fontFamily}`;
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  for (const { pin, number, hidden } of pins.all()) {
    const { x, y } = spotOf(bed.stage, new Vector3(...pin.place));
    pen.globalAlpha = hidden ? 0.38 : 1;
    disc(pen, x, y, r, palette, pin.active ? css(palette.accent) : css(palette.ink));
    pen.fillStyle = css(palette.paper);
    pen.fillText(String(number), x, y + r * 0.06);
  }
  pen.globalAlpha = 1;
  const held = measure.held();
  if (held) tag(pen, held.words, spotOf(bed.stage, held.middle), r, palette);
}

function disc(pen: CanvasRenderingContext2D, x: number, y: number, r: number, palette: Palette, fill: string): void {
  pen.beginPath();
  pen.arc(x, y, r, 0, 2 * Math.PI);
  pen.fillStyle = fill;
  pen.fill();
  pen.lineWidth = r * 0.16;
  pen.strokeStyle = css(palette.paper);
  pen.stroke();
}

function tag(pen: CanvasRenderingContext2D, words: string, at: { x: number; y: number }, r: number, palette: Palette): void {
  const half = pen.measureText(words).width / 2 + r * 0.7;
  pen.fillStyle = css(palette.paper);
  pen.fillRect(at.x - half, at.y - r * 1.1, half * 2, r * 2.2);
  pen.fillStyle = css(palette.ink);
  pen.fillText(words, at.x, at.y);
}

function css(colour: { getHexString(): string }): string {
  return `#${colour.getHexString()}`;
}
