import { resolve } from 'node:path';
import { makePortables } from './portable.ts';

const MB = 1e6;
for (const { zip, zipBytes, folderBytes, sha256 } of await makePortables(
  process.argv.slice(2),
  resolve('out', 'portable'),
)) {
  console.log(`${sha256}  ${zip}  ${Math.round(zipBytes / MB)} MB, unpacked ${Math.round(folderBytes / MB)} MB`);
}
