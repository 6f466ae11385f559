import { beforeEach, describe, expect, it } from "vitest";
import { Refusal } from "../api/call";
import type { Job } from "../api/kinds";
import { type Carrier, drop, takeIn, uploads } from "./uploads";

const settle = (): Promise<void> => new Promise((done) => setTimeout(done, 5));
const mesh = (name: string, size = 8): File => new File([new Uint8Array(size)], name);

/** A server that takes what it is told to, when it is told to. */
class Hand implements Carrier {
  asked: string[] = [];
  came: [string, boolean][] = [];
  open: { path: string; take: () => void; refuse: () => void }[] = [];
  most = 400_000_000;
  limit = async (): Promise<number> => this.most;
  arrived = (job: Job, alone: boolean): void => void this.came.push([job.id, alone]);
  send: Carrier["send"] = (path, _file, progress, stop) => {
    this.asked.push(path);
    progress(0.5);
    return new Promise((resolve, reject) => {
      stop.addEventListener("abort", () => reject(new DOMException("stopped", "AbortError")));
      this.open.push({
        path,
        take: () => resolve({ id: path, name: path } as Job),
        refuse: () => reject(new Refusal({ code: "wrong_file_type", where: "", found: "", limit: "", remedy: "", sentence: "No mesh." }, 415)),
      });
    });
  };
}

beforeEach(() => {
  for (const item of [...uploads.value]) drop(item.id);
});

describe("meshes on their way in", () => {
  it("One file is sent at once, and its job is gone to.", async () => {
    const hand = new Hand();
    takeIn([mesh("a b.stl")], hand);
    await settle();
    expect(uploads.value[0]).toMatchObject({ name: "a b.stl", state: "sending", share: 0.5 });
    hand.open[0]!.take();
    await settle();
    expect(hand.came).toEqual([["/api/jobs?file=a%20b.stl", true]]);
    expect(uploads.value).toEqual([]);
  });
  it("A second drop waits for the first; then neither takes the page away.", async () => {
    const hand = new Hand();
    takeIn([mesh("a.stl")], hand);
    await settle();
    takeIn([mesh("b.stl")], hand);
    await settle();
    expect(hand.asked).toHaveLength(1);
    expect(uploads.value.map((item) => item.state)).toEqual(["sending", "waiting"]);
    hand.open[0]!.take();
    await settle();
    hand.open[1]!.take();
    await settle();
    expect(hand.came.map(([, alone]) => alone)).toEqual([false, false]);
  });
  it("What is refused stays under its name, and the next goes on.", async () => {
    const hand = new Hand();
    takeIn([mesh("a.png"), mesh("b.stl")], hand);
    await settle();
    hand.open[0]!.refuse();
    await settle();
    expect(uploads.value[0]).toMatchObject({ name: "a.png", state: "refused", refusal: { sentence: "No mesh." } });
    expect(hand.asked[1]).toContain("b.stl");
    hand.open[1]!.take();
    await settle();
    expect(uploads.value.map((item) => item.name)).toEqual(["a.png"]);
  });
  it("One that is stopped goes, and the next goes on.", async () => {
    const hand = new Hand();
    takeIn([mesh("a.stl"), mesh("b.stl")], hand);
    await settle();
    drop(uploads.value[0]!.id);
    await settle();
    expect(uploads.value.map((item) => [item.name, item.state])).toEqual([["b.stl", "sending"]]);
    hand.open[1]!.take();
    await settle();
  });
  it("A file beyond the limit is told before a byte of it leaves.", async () => {
    const hand = new Hand();
    hand.most = 50_000_000;
    takeIn([mesh("large.stl", 60_000_000)], hand);
    await settle();
    expect(hand.asked).toEqual([]);
    expect(uploads.value[0]!.refusal!.sentence).toContain("60 MB; up to 50 MB are taken");
  });
  it("What cannot be read, such as a folder, is told as that.", async () => {
    const hand = new Hand();
    const folder = mesh("masks");
    folder.slice = () => ({ arrayBuffer: () => Promise.reject(new DOMException("", "NotFoundError")) }) as unknown as Blob;
    takeIn([folder], hand);
    await settle();
    expect(hand.asked).toEqual([]);
    expect(uploads.value[0]!.refusal!.sentence).toContain("is a folder");
  });
});
