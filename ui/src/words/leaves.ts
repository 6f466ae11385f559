/** The words in use on pages and leaves that are fetched when they are first shown; apart, so that the first page stays light. */

import { leaves as english } from "./en-leaves";

export const leaf: typeof english = english;
