// Which screen is shown. It lives in memory alone: an address would put patients into the browser's history.

import { signal } from "@preact/signals";

/** Step is a step of a visit, in the order of the work. */
export const steps = ["screening", "consent", "photos", "ratings", "plan", "prepare", "draw", "check", "treat", "finish"] as const;
export type Step = (typeof steps)[number];

/** reviewSteps are those of a visit that only looks at a result. */
export const reviewSteps: readonly Step[] = ["screening", "photos", "ratings", "finish"];

/** DeskScreen is a screen of the desk and the lead, which asks the server. */
export type DeskScreen = "close" | "reviews" | "lot" | "held" | "orders" | "staff" | "devices" | "editions" | "figures" | "audit";

export type Route =
  | { readonly screen: "day" }
  | { readonly screen: "patient"; readonly id: string }
  | { readonly screen: "visit"; readonly id: string; readonly step: Step | "findings" | "review" }
  | { readonly screen: "conflicts" }
  | { readonly screen: "day_end" }
  | { readonly screen: "desk"; readonly at?: DeskScreen }
  | { readonly screen: "calculator" };

/** route is the screen that is shown. */
export const route = signal<Route>({ screen: "day" });

/** go shows another screen, from its top, with the reader's place at its heading. */
export function go(to: Route): void {
  route.value = to;
  requestAnimationFrame(() => {
    window.scrollTo(0, 0);
    document.querySelector<HTMLElement>("main h1")?.focus({ preventScroll: true });
  });
}

/** Hand is the hand that works; the steps and the actions stand where it reaches them. */
export const hand = signal<"right" | "left">("right");
