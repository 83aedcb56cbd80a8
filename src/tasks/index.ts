// How a use case is asked, and what comes of it; and the few things of lower rows that a face needs beside.

export { CHART_KIND_NAMES } from '../chart/index.ts';
export { JOB_DEFAULTS, judgeLearned, saySettings } from '../job/index.ts';
export {
  controlOf as controlOfMachine,
  type KnownControl,
  listEvenness,
  saySetting,
  splitOffset,
} from '../machine/index.ts';
export { BENEATH, PALETTE_LIMITS, SEEN, tellMarkDiametersUm } from '../material/index.ts';
export { BACKDROPS, MOST_ZOOM, OUTLINES, TONE_FIELDS } from '../photo/index.ts';
// What a face says of its own process: that it does one job and ends, and which files it was given. And how it keeps
// files of its own: whole, and explained in words where it cannot.
export {
  DOT_FORMAT_NAMES,
  DOT_FORMATS,
  explainWriteError,
  forgetInputs,
  limitLoaders,
  makeFolder,
  PICTURE_FORMAT_NAMES,
  PROGRAM_CHOICES,
  releaseMemory,
  rememberInput,
  rememberInputs,
  sha256,
  tuneForOnePhoto,
  writeFilesAtomic,
} from '../plane/index.ts';
export { QUANTITIES } from '../quantities.ts';
export { DEFAULT_OPTIONS, SCREEN_NAMES, SCREEN_OPTIONS } from '../screens/index.ts';
export type { CapturesRequest } from './captures.ts';
export type { CheckRecord } from './check-profile.ts';
export { type ComparisonRecord, compareShopProfiles } from './compare-profiles.ts';
export { type ComparedWaysRecord, comparePhotoWays } from './compare-ways.ts';
export { createContext, type TaskContext } from './context.ts';
export { describeMachineOptics, type OpticsRecord } from './describe-optics.ts';
export { describeShop, type OfferedProfile, offerProfile } from './describe-shop.ts';
export { type DrawnChartRecord, drawChart } from './draw-chart.ts';
export { type FittedMachineRecord, fitMachine } from './fit-machine.ts';
export { keepArtwork } from './keep-artwork.ts';
export {
  callSimulated,
  deleteProfile,
  findSaved,
  parseSavedProfile,
  renameProfile,
  saveProfile,
} from './keep-profile.ts';
export {
  type FrameRequest,
  type LayoutRecord,
  type LayoutSourceRequest,
  type LayPlatesRequest,
  layPlates,
} from './lay-plates.ts';
export { LIST_OPTIONS } from './list-columns.ts';
export { listPhotos } from './list-photos.ts';
export {
  listJigs,
  listMaterials,
  listPalettes,
  listScreens,
  showJig,
  showMaterial,
  showPalette,
  showScreen,
  writeScreensPage,
} from './list-stock.ts';
export { listLayouts, listProfiles } from './listing.ts';
export { listMachines, type MachineRecord, showMachine } from './machines.ts';
export { type MakerChoice, makeOrder } from './make-order.ts';
export { askOfJig, checkJigAnswer, drawJigToCut, newJig } from './new-jig.ts';
export { askOfMachine, checkMachineAnswer, newMachine } from './new-machine.ts';
export { askOfMaterial, checkMaterialAnswer, newMaterial } from './new-material.ts';
export { askOfPrices, checkPriceAnswer, newPrices } from './new-prices.ts';
export { type OpenedPhoto, openPhoto } from './open-photo.ts';
export { PIECE_VIEWS, type PieceView } from './piece-views.ts';
export { type PlannedPiece, planPieces } from './plan-pieces.ts';
export { type PrepareAgainRequest, prepareAgain } from './prepare-again.ts';
export { type PrepareMarksRequest, preparePhotoMarks } from './prepare-marks.ts';
export { type PhotoRequest, type PreparedRecord, preparePhoto } from './prepare-photo.ts';
export {
  type CoarseImage,
  coarsenImage,
  type DotPreview,
  drawDotPreview,
  drawDraftPreview,
  encodePreview,
  enlargePart,
  measureDraft,
  type Prediction,
  type PreparedImage,
  predictTicket,
  prepareImage,
} from './preview-photo.ts';
export { hasPrices, readPrices } from './prices.ts';
export { proveBitmap } from './prove-bitmap.ts';
export type { NextQuestion, Question } from './questions.ts';
export { quoteOrderAhead } from './quote-order.ts';
export {
  type ChartRecord,
  type GridRequest,
  type LearnedRecord,
  type MeasuredRecord,
  readChart,
} from './read-chart.ts';
export { parseOrderList, readOrderPieces } from './read-order.ts';
export {
  type BurnedList,
  countBurned,
  listBurned,
  recordBurn,
  renderBurnedCsv,
  writeBurnedCsv,
} from './record-burn.ts';
export {
  FORM_KINDS,
  type FormField,
  type FormKind,
  type FormRequest,
  keepForm,
  listFields,
  readFormKind,
  sketchForm,
} from './record-forms.ts';
export { overSettings, readDiameters, readRequest, readSettings } from './request-options.ts';
export { listRestable, type RestableNotice, restNotice, wakeNotice } from './rest-notices.ts';
export { serveQueue } from './serve-queue.ts';
export { readSettingsFile } from './settings-file.ts';
export { openShopFolder, packageRoot } from './shop.ts';
export { type ShownProfile, sampleCurve, showProfile } from './show-profile.ts';
export {
  type BurnRequest,
  CAMERA_NAMES,
  captureFile,
  type EngravedRecord,
  engraveBitmap,
  listFaults,
  listSimulation,
  readModel,
} from './simulate.ts';
export { type FaultsRecord, simulateFaults } from './simulate-faults.ts';
export { drawSubjectMask, isMaskName, keepSubjectMask, locateMask, readSubjectMask } from './subject-mask.ts';
export { type ScanSettings, type TimedRecord, timeBitmap } from './time-bitmap.ts';
export * from './words.ts';
