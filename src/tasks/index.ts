export type { CapturesRequest } from './captures.ts';
export type { CheckRecord } from './check-profile.ts';
export { type ComparisonRecord, compareShopProfiles } from './compare-profiles.ts';
export type { TaskContext } from './context.ts';
export { keepLayout } from './keep-layout.ts';
export {
  deleteProfile,
  findSaved,
  renameProfile,
  type SavedProfile,
  type SaveProfileRequest,
  saveProfile,
} from './keep-profile.ts';
export { LIST_OPTIONS, type ListOption, ORDER_COLUMNS } from './list-columns.ts';
export { listPhotos } from './list-photos.ts';
export { type Listed, listProfiles, listRecords, readLayouts } from './listing.ts';
export { type MadeOrder, type MakeOrderOptions, makeOrder } from './make-order.ts';
export { nameOfTitle, refuseRecordName } from './names.ts';
export { namePieces, type PieceDraft, type PlannedPiece, planPiece } from './plan-pieces.ts';
export { readShopPrices } from './prices.ts';
export {
  type ChartRecord,
  type LearnedRecord,
  type MeasuredRecord,
  type ReadChartFiles,
  type ReadChartRequest,
  readChart,
} from './read-chart.ts';
export { readOrderPieces } from './read-order.ts';
export { readRequest } from './request-options.ts';
