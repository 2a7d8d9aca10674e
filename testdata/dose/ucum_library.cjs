// Prints ucum_library.csv: what the UCUM library of the U.S. National Library of Medicine (npm @lhncbc/ucum-lhc) says of each code of ucum.csv and of the
// conversions below. Run it in a folder where that library is installed: node ucum_library.cjs path/to/ucum.csv
const fs = require('fs');
const library = require(require.resolve('@lhncbc/ucum-lhc', { paths: [process.cwd()] }));
const ucum = library.UcumLhcUtils.getInstance();
const quoted = (text) => '"' + String(text).replaceAll('"', '""') + '"';

console.log('what,code,to,value,answer');
const codes = fs.readFileSync(process.argv[2], 'utf8').trim().split('\n').slice(1).map((line) => line.split(',')[0]);
for (const code of [...codes, 'nL', 'um', '{vial}', 'units', 'IU']) {
  const valid = ucum.validateUnitString(code);
  const unit = ucum.getSpecifiedUnit(code, 'validate').unit;
  const answer = valid.status !== 'valid' || valid.ucumCode !== code ? 'none' : unit.isArbitrary_ ? 'arbitrary' : 'unit';
  console.log(['code', quoted(code), '', '', answer].join(','));
}
const arbitrary = ["[arb'U]", "[USP'U]", '[iU]'];
const conversions = [
  ['mL', 'nL', 1], ['mL', 'uL', 1], ['mm', 'um', 1], ['cm', 'mm', 1], ['wk', 'd', 12], ['h', 'd', 24], ['mo', 'd', 3],
  ...arbitrary.flatMap((a) => [...arbitrary.filter((b) => b !== a).map((b) => [a, b, 1]), [a, 'U', 1], [a, 'mL', 1]]),
];
for (const [from, to, value] of conversions) {
  const r = ucum.convertUnitTo(from, value, to);
  console.log(['convert', quoted(from), quoted(to), value, r.status === 'succeeded' ? r.toVal : 'refused'].join(','));
}
