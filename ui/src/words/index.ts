/** The words in use. */

import { words as english, type Words } from "./en";

export const t: Words = english;
