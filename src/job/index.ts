export * from '../price/index.ts';
export { type Adjustment, adjustProfile } from './calibrate/adjust.ts';
export {
  type Check,
  checkCapture,
  checkLocated,
  findOwnProfile,
  judgeDrift,
  toCaptureImage,
} from './calibrate/check.ts';
export { renderCheckPage } from './calibrate/check-page.ts';
export * from './calibrate/compare-profiles.ts';
export type { CaptureReference } from './calibrate/exposure.ts';
export { sayHeadroom } from './calibrate/headroom.ts';
export { addToHistory } from './calibrate/history.ts';
export {
  findDisagreements,
  fitCaptures,
  type Learned,
  type LocatedCapture,
  learnProfile,
  locateCaptures,
  type Measured,
  measureCaptures,
  type ReadCapture,
  readCaptures,
  readLocated,
  refuseCorners,
} from './calibrate/learn.ts';
export { renderMeasuredPage } from './calibrate/measured-page.ts';
export { nextAfterDose, nextAfterFocus, nextAfterTone } from './calibrate/next-step.ts';
export { choosePalette, type PaletteOptions } from './calibrate/palette.ts';
export {
  drawFindings,
  judgeLearned,
  renderProfilePage,
  retitleProfilePage,
  saySpacing,
} from './calibrate/profile-page.ts';
export { type DoseReading, readDose } from './calibrate/read-dose.ts';
export { readEvenness } from './calibrate/read-evenness.ts';
export { type ExpectedFocus, type FocusReading, type MeasuredMm, readFocus } from './calibrate/read-focus.ts';
export { readSpot, type SpotReading } from './calibrate/read-spot.ts';
export { analyseScatter, type ScatterAnalysis, type ScatterCause } from './calibrate/scatter.ts';
export { chooseLimits, sayPrediction, sayPrint, sayVerification, verifyTones } from './calibrate/verification.ts';
export { parseDoseAxis } from './chart/dose-axes.ts';
export { type ExpectedError, parseSimulationErrors, sayExpectedError } from './chart/expected-error.ts';
export { parseChartLayout } from './chart/layout-file.ts';
export { makeChart } from './chart/make.ts';
export { resolveChart } from './chart/resolve.ts';
export type { ChartCost, ChartRequest, ChartSpec } from './chart/types.ts';
export { resolveMarks } from './marks/resolve.ts';
export { prepareMarks } from './marks/run.ts';
export type { MarksRequest, MarksTicket, SeparateBy } from './marks/types.ts';
export { renderOrderCsv } from './order/csv.ts';
export { renderCustomerPage } from './order/customer-page.ts';
export { chooseNames, findNameFault, type OrderCell, type OrderRow, parseOrderCsv, shortenName } from './order/list.ts';
export { renderOrderPage } from './order/page.ts';
export {
  filesOfPiece,
  ORDER_SCHEMA,
  type OrderedPiece,
  type OrderPieceRecord,
  type OrderRecord,
  type PieceFault,
  type PieceSummary,
  quotePieces,
  recordOrder,
  sayReason,
  summarisePiece,
} from './order/record.ts';
export { normaliseColumn } from './page/csv-table.ts';
export { renderScreensPage } from './page/screens-page.ts';
export { saySettings } from './page/typed-rows.ts';
export type { LayoutSource } from './plate/batches.ts';
export { markOfJig } from './plate/jig.ts';
export {
  type JobTicket,
  type NotRemade,
  type PlateJob,
  parseJobTicket,
  parseOrderForPlates,
  type RemadePiece,
  type RemadePlace,
} from './plate/jobs.ts';
export { makeJig, makePlates, type PlateOptions } from './plate/make.ts';
export { STRIP_ROOM } from './plate/strip.ts';
export { listPlateFiles, type PlatesRecord, type PlateTicket, quoteCell } from './plate/ticket.ts';
export * from './prepare/choices.ts';
export { takePicture } from './prepare/picture.ts';
export * from './prepare/preview.ts';
export * from './prepare/proof.ts';
export * from './prepare/run.ts';
export { drawStrip, joinStrip, layoutStrip, makeStrip } from './prepare/strip.ts';
export { drawSubjectShare } from './prepare/subject.ts';
export * from './prepare/ticket.ts';
export * from './prepare/ticket-page.ts';
export * from './prepare/tone.ts';
export type { Caution, Ticket } from './prepare/types.ts';
export { parseAim, warnOfExposures } from './request/aim.ts';
export {
  doseOf,
  gainByMoreDose,
  recommendSpacingMm,
  recommendStartSpacingMm,
  refuseBeyond,
  resolveGrid,
  spotDiameterUm,
  startSettings,
} from './request/grid.ts';
export {
  type DriftHistory,
  listVerified,
  parseHistory,
  readHistory,
  type VerifiedScreen,
  type VerifiedScreens,
} from './request/history.ts';
export { findMaterial, isClearStock, readMachine, readProfile, refuseMaterial } from './request/records.ts';
export * from './request/resolve.ts';
export { listRested, type RestedRecord, readRested } from './request/rested.ts';
export { ROUND_ERROR_L } from './request/round.ts';
export { requestScreen } from './request/screen.ts';
export { type GivenSettings, JOB_DEFAULTS, type JobRequest, type JobSpec, type KeptRequest } from './request/types.ts';
export {
  assessUncertainty,
  exposureHalf,
  listKnown,
  meanBandHalf,
  measureSpan,
  sayExposure,
  sayLevelRoad,
  type UsableSpan,
  warnOfUncertainty,
} from './request/uncertainty.ts';
export { type ComparedWay, compareWays } from './timing/compare-ways.ts';
export { parseTimeReadings, type TimeReading } from './timing/readings.ts';
