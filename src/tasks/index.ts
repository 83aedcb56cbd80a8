export type { CapturesRequest } from './captures.ts';
export type { CheckRecord } from './check-profile.ts';
export { type ComparisonRecord, compareShopProfiles } from './compare-profiles.ts';
export type { TaskContext } from './context.ts';
export {
  deleteProfile,
  findSaved,
  renameProfile,
  type SavedProfile,
  type SaveProfileRequest,
  saveProfile,
} from './keep-profile.ts';
export { type Listed, listProfiles, listRecords, readLayouts } from './listing.ts';
export { nameOfTitle, refuseRecordName } from './names.ts';
export {
  type ChartRecord,
  type LearnedRecord,
  type MeasuredRecord,
  type ReadChartFiles,
  type ReadChartRequest,
  readChart,
} from './read-chart.ts';
