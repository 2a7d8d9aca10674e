// The theme: what the device prefers, unless the person chose. It is written on the root element, so that the dark tokens stand once in the CSS.

export type Theme = "light" | "dark" | "device";

const dark = () => window.matchMedia("(prefers-color-scheme: dark)");

/** setTheme puts the theme on the page. */
export function setTheme(theme: Theme): void {
  const shown = theme === "device" ? (dark().matches ? "dark" : "light") : theme;
  document.documentElement.dataset.theme = shown;
}

/** followTheme keeps the page in the theme that `chosen` says, also when the device changes its own. It answers a function that stops. */
export function followTheme(chosen: () => Theme): () => void {
  const media = dark();
  const apply = () => setTheme(chosen());
  media.addEventListener("change", apply);
  apply();
  return () => media.removeEventListener("change", apply);
}
