/** Addresses of the interface, checked against its document: a route that is gone does not compile. */

import type { paths } from "./schema";

export type Path = keyof paths & string;

type Operation<P extends Path, M extends string> = M extends keyof paths[P] ? paths[P][M] : never;
type Named<P extends string> = P extends `${string}{${infer Name}}${infer Rest}` ? Name | Named<Rest> : never;
type Content<T> = T extends { content: infer C } ? C[keyof C] : undefined;

/** What a route answers with when all is well. */
export type Answer<P extends Path, M extends string> =
  Operation<P, M> extends { responses: infer R } ? Content<R[keyof R & (200 | 201 | 202)]> : never;

/** What a route is handed. */
export type Body<P extends Path, M extends string> = Operation<P, M> extends { requestBody: infer B } ? Content<B> : undefined;

declare const ROUTE: unique symbol;

/** The address of a route, which remembers which one it is. */
export type Address<P extends Path> = string & { readonly [ROUTE]: P };

type Query = Record<string, string | number | boolean | undefined>;

/** A route's address with its names filled in. */
export function at<P extends Path>(path: P, ...[names, query]: [Named<P>] extends [never] ? [names?: null, query?: Query] : [names: Record<Named<P>, string>, query?: Query]): Address<P> {
  const filled = path.replace(/\{(\w+)\}/g, (_all, name: string) => (names as Record<string, string>)[name]!.split("/").map(encodeURIComponent).join("/"));
  const asked = Object.entries(query ?? {}).filter(([, value]) => value !== undefined);
  const tail = asked.map(([key, value]) => `${key}=${encodeURIComponent(String(value))}`).join("&");
  return (tail ? `${filled}?${tail}` : filled) as Address<P>;
}
