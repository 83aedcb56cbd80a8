// What a face says of its own process: that it does one job and ends, and which files it was given.

export { WHITE_PAPER } from '../chart/index.ts';
export { PALETTE_LIMITS } from '../material/index.ts';
export { keepHeapSmall, rememberInput, rememberInputs } from '../plane/index.ts';
export type { CapturesRequest } from './captures.ts';
export type { CheckRecord } from './check-profile.ts';
export { type ComparisonRecord, compareShopProfiles } from './compare-profiles.ts';
export type { TaskContext } from './context.ts';
export { type DrawChartRequest, type DrawnChartRecord, drawChart } from './draw-chart.ts';
export { keepLayout } from './keep-layout.ts';
export {
  deleteProfile,
  findSaved,
  renameProfile,
  type SavedProfile,
  type SaveProfileRequest,
  saveProfile,
} from './keep-profile.ts';
export { type BedRequest, type FrameRequest, type LaidRecord, type LayPlatesRequest, layPlates } from './lay-plates.ts';
export { LIST_OPTIONS, type ListOption, ORDER_COLUMNS } from './list-columns.ts';
export { listPhotos } from './list-photos.ts';
export { type Listed, listProfiles, listRecords, readLayouts } from './listing.ts';
export { type MadeOrder, type MakeOrderOptions, makeOrder } from './make-order.ts';
export { nameOfTitle, refuseRecordName } from './names.ts';
export { namePieces, type PieceDraft, type PlannedPiece, planPiece } from './plan-pieces.ts';
export { type PreparedMarksRecord, type PrepareMarksRequest, preparePhotoMarks } from './prepare-marks.ts';
export { type PhotoRequest, type PreparedRecord, type PreparePhotoRequest, preparePhoto } from './prepare-photo.ts';
export { readPrices } from './prices.ts';
export { type ProveBitmapRequest, type ProvenRecord, proveBitmap } from './prove-bitmap.ts';
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
export { openShopFolder, packageRoot, readRefused } from './shop.ts';
export * from './words.ts';
