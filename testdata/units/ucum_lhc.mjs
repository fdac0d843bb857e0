// node ucum_lhc.mjs < codes.txt > ucum_lhc.csv
import fs from 'node:fs';
import lhc from '@lhncbc/ucum-lhc';
const utils = lhc.UcumLhcUtils.getInstance();
console.log('ucum,factor_to_g_m_s_rad,exponents_m_s_g_rad');
for (const code of fs.readFileSync(0, 'utf8').trim().split('\n')) {
  const r = utils.getSpecifiedUnit(code, 'validate');
  if (!r.unit) { console.log(`${code},INVALID,${JSON.stringify(r.retMsg)}`); continue; }
  const d = r.unit.dim_ && r.unit.dim_.dimVec_ ? r.unit.dim_.dimVec_.slice(0, 4).join(' ') : '0 0 0 0';
  console.log(`${code},${r.unit.magnitude_},${d}`);
}
