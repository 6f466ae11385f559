/** Words of one job and its stages. */

export const job = {};
