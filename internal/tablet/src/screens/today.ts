// Days of the calendar. Which day an interval or an expiry ends on, the core says; these only name today and a day some days on for a button.

import type { Date as Day } from "../messages";

const dayOf = (d: Date): Day => ({ year: d.getFullYear(), month: d.getMonth() + 1, day: d.getDate() });

/** today is today by the tablet's calendar. */
export const today = (): Day => dayOf(new Date());

/** dayAfter is so many days after a day. */
export function dayAfter(day: Day, days: number): Day {
  const d = new Date(Date.UTC(day.year ?? 1970, (day.month ?? 1) - 1, (day.day ?? 1) + days));
  return { year: d.getUTCFullYear(), month: d.getUTCMonth() + 1, day: d.getUTCDate() };
}
