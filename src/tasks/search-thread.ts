import { parentPort } from 'node:worker_threads';
import { type Band, type SearchPlan, searchBand } from '../screens/index.ts';

// What runs on each thread of a search; built into a file of its own. The plan comes once, its planes shared; then
// bands.
let plan: SearchPlan | undefined;
parentPort?.on('message', (message: { readonly plan: SearchPlan } | { readonly band: Band; readonly at: number }) => {
  if ('plan' in message) plan = message.plan;
  else if (plan) parentPort?.postMessage({ at: message.at, result: searchBand(plan, message.band) });
});
