export * from '../price/index.ts';
export {
  type Check,
  type CheckOptions,
  checkCapture,
  checkLocated,
  type Drift,
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
  type LearnOptions,
  type LocatedCapture,
  learnProfile,
  locateCaptures,
  type Measured,
  measureCaptures,
  type NamedCapture,
  type ReadCapture,
  readCaptures,
  readLocated,
  refuseCorners,
} from './calibrate/learn.ts';
export { renderMeasuredPage } from './calibrate/measured-page.ts';
export { nextAfterDose, nextAfterTone } from './calibrate/next-step.ts';
export { choosePalette, type PaletteOptions } from './calibrate/palette.ts';
export {
  drawFindings,
  judgeLearned,
  type ProfilePageFacts,
  renderProfilePage,
  retitleProfilePage,
  saySpacing,
} from './calibrate/profile-page.ts';
export { type DoseReading, readDose } from './calibrate/read-dose.ts';
export { readSpot, type SpotReading } from './calibrate/read-spot.ts';
export {
  analyseScatter,
  nameScatterCause,
  type ScatterAnalysis,
  type ScatterCause,
  type ScatterPart,
} from './calibrate/scatter.ts';
export {
  chooseLimits,
  sayPrediction,
  sayVerification,
  type Verification,
  type VerifyResult,
  verifyTones,
} from './calibrate/verification.ts';
export { type ExpectedError, parseSimulationErrors, sayExpectedError } from './chart/expected-error.ts';
export { parseChartLayout } from './chart/layout-file.ts';
export { type Chart, makeChart } from './chart/make.ts';
export { resolveChart } from './chart/resolve.ts';
export type { ChartCost, ChartRequest, ChartSpec } from './chart/types.ts';
export { resolveMarks } from './marks/resolve.ts';
export { type MarksJob, type MarksOptions, prepareMarks } from './marks/run.ts';
export type { MarkBurn, MarksRequest, MarksSpec, MarksTicket, SeparateBy } from './marks/types.ts';
export { renderOrderCsv } from './order/csv.ts';
export { chooseNames, findNameFault, type OrderCell, type OrderRow, parseOrderCsv, shortenName } from './order/list.ts';
export { type OrderPageOptions, renderOrderPage } from './order/page.ts';
export {
  type DonePiece,
  filesOfPiece,
  ORDER_SCHEMA,
  type OrderedPiece,
  type OrderFacts,
  type OrderPieceRecord,
  type OrderRecord,
  type PieceFault,
  type PieceSummary,
  recordOrder,
  sayReason,
  summarisePiece,
} from './order/record.ts';
export { normaliseColumn } from './page/csv-table.ts';
export { renderScreensPage } from './page/screens-page.ts';
export { listSettings, saySettings } from './page/typed-rows.ts';
export type { Bed } from './plate/batches.ts';
export { markOfJig } from './plate/jig.ts';
export {
  type JobPrice,
  type JobTicket,
  type OrderedJob,
  type PlateJob,
  parseJobTicket,
  parseOrderForPlates,
} from './plate/jobs.ts';
export { makeJig, makePlates, type PlateOptions, type Plates } from './plate/make.ts';
export { STRIP_ROOM } from './plate/strip.ts';
export {
  listPlateFiles,
  type PlateBurn,
  type PlatePiece,
  type PlatesRecord,
  type PlateTicket,
  quoteCell,
} from './plate/ticket.ts';
export * from './prepare/choices.ts';
export { compareRuns, type RunsOptions } from './prepare/compare-runs.ts';
export { type Picture, takePicture } from './prepare/picture.ts';
export * from './prepare/preview.ts';
export * from './prepare/proof.ts';
export * from './prepare/run.ts';
export {
  drawStrip,
  joinStrip,
  layoutStrip,
  makeStrip,
  STRIP_DEFAULTS,
  type Strip,
  type StripFacts,
  type StripOffset,
  type StripSide,
} from './prepare/strip.ts';
export { drawSubjectShare } from './prepare/subject.ts';
export * from './prepare/ticket.ts';
export * from './prepare/ticket-page.ts';
export type { Caution, JobFile, Made, RunCost, Ticket, TicketPictures } from './prepare/types.ts';
export { parseAim, warnOfExposures } from './request/aim.ts';
export {
  doseOf,
  gainByMoreDose,
  recommendSpacingMm,
  recommendStartSpacingMm,
  refuseBeyond,
  refuseWide,
  resolveGrid,
  spotDiameterUm,
  startDoseJPerCm2,
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
export {
  findMaterial,
  readMachine,
  readProfile,
  refuseMaterial,
  refuseOversize,
  tryMaterial,
} from './request/records.ts';
export * from './request/resolve.ts';
export { resolveScreen, screenOptionsOf } from './request/screen.ts';
export type { KeptRequest } from './request/types.ts';
export { type GivenSettings, JOB_DEFAULTS, type JobRequest, type JobSpec } from './request/types.ts';
export {
  assessUncertainty,
  BADLY_KNOWN_L,
  type ExposureUncertainty,
  exposureHalf,
  type KnownFact,
  listKnown,
  meanBandHalf,
  measureSpan,
  sayExposure,
  sayExposureBasis,
  type ToneUncertainty,
  type UsableSpan,
  warnOfUncertainty,
} from './request/uncertainty.ts';
export { type ComparedWay, type CompareTimesOptions, compareWays } from './timing/compare-ways.ts';
export { parseTimeReadings, type TimeReading } from './timing/readings.ts';
