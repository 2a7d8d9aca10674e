// The shell: which of the tablet's own screens is shown before and around those of the chart.

/** Shell is the whole page. */
export function Shell() {
  return (
    <main>
      <h1>Needlebook</h1>
    </main>
  );
}
