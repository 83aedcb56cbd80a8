/** The one bibliography: key → full reference. Constants and tables name a key and, beside it, the locator. */
export const SOURCES = {
  iec61966:
    'IEC 61966-2-1:1999, Multimedia systems and equipment – Colour measurement and management – Default RGB colour space sRGB',
  itu709:
    'ITU-R BT.709-6 (2015), Parameter values for the HDTV standards for production and international programme exchange',
  icc1: 'ICC.1:2022 (profile version 4.4), Image technology colour management – Architecture, profile format, and data structure',
  png3: 'W3C Recommendation, Portable Network Graphics (PNG) Specification, Third Edition, 2025',
  iso23008:
    'ISO/IEC 23008-12:2022, Information technology – High efficiency coding and media delivery in heterogeneous environments – Part 12: Image File Format',
  uax9: 'M. Davis, A. Lanin, A. Glass, Unicode Standard Annex 9, Unicode Bidirectional Algorithm, revision 42, Unicode 13.0.0 (2020)',
  h273: 'Recommendation ITU-T H.273 (2021), Coding-independent code points for video signal type identification',
  dcf2: 'CIPA DC-009-2010 / JEITA CP-3461B, Design rule for Camera File system: DCF Version 2.0',
  adobeRgb1998: 'Adobe Systems, Adobe RGB (1998) Color Image Encoding, Version 2005-05',
  exif232:
    'CIPA DC-008-2019 / JEITA CP-3451E, Exchangeable image file format for digital still cameras: Exif Version 2.32',
  cie15: 'CIE 15:2004, Colorimetry, 3rd edition',
  iso7810: 'ISO/IEC 7810:2019, Identification cards – Physical characteristics',
  iso7813: 'ISO/IEC 7813:2006, Information technology – Identification cards – Financial transaction cards',
  floydSteinberg1976:
    'R. W. Floyd, L. Steinberg, An adaptive algorithm for spatial grey scale, Proc. Society for Information Display 17(2) (1976) 75–77',
  pappasNeuhoff1995:
    'T. N. Pappas, D. L. Neuhoff, Printer models and error diffusion, IEEE Trans. Image Processing 4(1) (1995) 66–80',
  fritschButland1984:
    'F. N. Fritsch, J. Butland, A method for constructing local monotone piecewise cubic interpolants, SIAM J. Sci. Stat. Comput. 5(2) (1984) 300–304',
  slatecPchip:
    'F. N. Fritsch, PCHIP in the SLATEC Common Mathematical Library, Lawrence Livermore National Laboratory, quick checks DPCHQ1–5',
  fritschCarlson1980:
    'F. N. Fritsch, R. E. Carlson, Monotone piecewise cubic interpolation, SIAM J. Numer. Anal. 17(2) (1980) 238–246',
  ayer1955:
    'M. Ayer, H. D. Brunk, G. M. Ewing, W. T. Reid, E. Silverman, An empirical distribution function for sampling with incomplete information, Ann. Math. Statist. 26(4) (1955) 641–647',
  robertCasella2005:
    'C. P. Robert, G. Casella, Monte Carlo Statistical Methods, 2nd edition, Springer, 2004, exercises on isotonic regression',
  oronFlournoy2017:
    'A. P. Oron, N. Flournoy, Centered isotonic regression: point and interval estimation for dose-response studies, Stat. Biopharm. Res. 9(3) (2017) 258–267, arXiv 1701.05964',
  marquardt1963:
    'D. W. Marquardt, An algorithm for least-squares estimation of nonlinear parameters, J. Soc. Indust. Appl. Math. 11(2) (1963) 431–441',
  brown1966: 'D. C. Brown, Decentering distortion of lenses, Photogrammetric Engineering 32(3) (1966) 444–462',
  nielsen1999:
    "H. B. Nielsen, Damping parameter in Marquardt's method, IMM-REP-1999-05, Technical University of Denmark, 1999",
  nistStrd: 'NIST Statistical Reference Datasets, Nonlinear Regression, https://www.itl.nist.gov/div898/strd/',
  hyndmanFan1996: 'R. J. Hyndman, Y. Fan, Sample quantiles in statistical packages, Am. Stat. 50(4) (1996) 361–365',
  iso11146:
    'ISO 11146-1:2021, Lasers and laser-related equipment – Test methods for laser beam widths, divergence angles and beam propagation ratios – Part 1: Stigmatic and simple astigmatic beams',
  prahlLaserbeamsize:
    'S. Prahl, laserbeamsize, commit 462b7f4, tests/test_gaussian.py, github.com/scottprahl/laserbeamsize',
  onlyCalculatorsSpot: 'onlycalculators.com, Laser beam spot size calculator (web page, no date)',
  xfelGaussian: 'European XFEL, SCS instrument documentation, page Gaussian beam, rtd.xfel.eu/docs/scs-documentation',
  parallaxFaq: 'Parallax Technology, frequently asked questions, parallax-tech.com/faq.htm (web page, no date)',
  twoSixSpotSize:
    'II-VI Infrared, tutorial Determining spot size, iiviinfrared.com/tutorials/determine_spot_size.html (web page, no date)',
  gibsonRosenStucker2015:
    'I. Gibson, D. Rosen, B. Stucker, Additive Manufacturing Technologies, Springer, 2nd edition 2015 (edition by the title of its chapter), ch. 4, Vat photopolymerization processes',
  liu1982:
    'J. M. Liu, Simple technique for measurements of pulsed Gaussian-beam spot sizes, Optics Letters 7 (1982) 196–198',
  lenznerIncubation: 'M. Lenzner, Incubation, lenzner.us/incubation (web page, no date)',
  abramowitzStegun1964:
    'M. Abramowitz, I. A. Stegun (editors), Handbook of Mathematical Functions, National Bureau of Standards, Applied Mathematics Series 55, 1964',
  biagiottiMelchiorri2008:
    'L. Biagiotti, C. Melchiorri, Trajectory Planning for Automatic Machines and Robots, Springer, 2008',
  ownStopwatch: 'Stopwatch readings taken on the machine itself',
  firgelliTrapezoid:
    'Firgelli Automations, trapezoidal motion profile calculators, firgelliauto.com (web page, no date)',
  hydraulicMotionProfile: 'Article on hydraulic motion profiles, userz.net/post/fee1a26a (web page, no date)',
  iowaLaserHazards:
    'University of Iowa, Environmental Health and Safety, Laser safety manual, section II Laser safety hazards, ehs.research.uiowa.edu/ii-laser-safety-hazards',
  auvaLaserClasses:
    'AUVA (Austrian Workers Compensation Board), laser classes, app.auva.at LaserClasses, after IEC 60825-1',
  iso6983:
    'ISO 6983-1:2009, Automation systems and integration – Numerical control of machines – Program format and definitions of address words – Part 1: Data format for positioning, line motion and contouring control systems',
  kramer2000:
    'T. R. Kramer, F. M. Proctor and E. Messina, The NIST RS274NGC Interpreter, Version 3, NISTIR 6556, National Institute of Standards and Technology, 2000',
  numpyFormat: 'NumPy Developers, NumPy reference manual, numpy.lib.format: the .npy format, versions 1.0 to 3.0',
  blackmanVigna2021:
    'D. Blackman, S. Vigna, Scrambled linear pseudorandom number generators, ACM Trans. Math. Software 47(4) (2021) 36',
  jarvisJudiceNinke1976:
    'J. F. Jarvis, C. N. Judice, W. H. Ninke, A survey of techniques for the display of continuous tone pictures on bilevel displays, Computer Graphics and Image Processing 5(1) (1976) 13–40',
  stucki1981:
    'P. Stucki, MECCA – a multiple-error correction computation algorithm for bi-level image hardcopy reproduction, IBM Research Report RZ1060, Zurich, 1981',
  ditherPunk: 'DitherPunk.jl, commit 3711003, src/error_diffusion.jl, github.com/JuliaImages/DitherPunk.jl',
  ostromoukhov2001: 'V. Ostromoukhov, A simple and efficient error-diffusion algorithm, Proc. SIGGRAPH 2001, 567–572',
  zhouFang2003:
    'B. Zhou, X. Fang, Improving mid-tone quality of variable-coefficient error diffusion using threshold modulation, ACM Trans. Graphics 22(3) (Proc. SIGGRAPH 2003) 437–444',
  bayer1973:
    'B. E. Bayer, An optimum method for two-level rendition of continuous-tone pictures, IEEE Int. Conf. on Communications (1973) 26-11–26-15',
  ulichney1987: 'R. Ulichney, Digital Halftoning, MIT Press, 1987',
  flohr1993:
    'T. J. Flohr, B. W. Kolpatzik, R. Balasubramanian, D. A. Carrara, C. A. Bouman, J. P. Allebach, Model-based color image quantization, Proc. SPIE 1913 (1993) 270–281',
  analouiAllebach1992:
    'M. Analoui, J. P. Allebach, Model-based halftoning using direct binary search, Proc. SPIE 1666 (1992) 96–108',
  liebermanAllebach2000:
    'D. J. Lieberman, J. P. Allebach, A dual interpretation for direct binary search and its implications for tone reproduction and texture quality, IEEE Trans. Image Processing 9(11) (2000) 1950–1963',
  ulichney1993: 'R. Ulichney, The void-and-cluster method for dither array generation, Proc. SPIE 1913 (1993) 332–343',
  lauArceGallagher1999:
    'D. L. Lau, G. R. Arce, N. C. Gallagher, Digital halftoning by means of green-noise masks, J. Optical Society of America A 16(7) (1999) 1575–1586',
  eschbachKnox1991:
    'R. Eschbach, K. T. Knox, Error-diffusion algorithm with edge enhancement, J. Optical Society of America A 8(12) (1991) 1844–1850',
  olson2011:
    'E. Olson, AprilTag: A robust and flexible visual fiducial system, Proc. IEEE Int. Conf. Robotics and Automation (2011) 3400–3407',
  wangOlson2016:
    'J. Wang, E. Olson, AprilTag 2: Efficient and robust fiducial detection, Proc. IEEE/RSJ Int. Conf. Intelligent Robots and Systems (2016) 4193–4198',
  beatonTukey1974:
    'A. E. Beaton, J. W. Tukey, The fitting of power series, meaning polynomials, illustrated on band-spectroscopic data, Technometrics 16(2) (1974) 147–185',
  fischlerBolles1981:
    'M. A. Fischler, R. C. Bolles, Random sample consensus, Communications of the ACM 24(6) (1981) 381–395',
  fisherYates1938:
    'R. A. Fisher, F. Yates, Statistical Tables for Biological, Agricultural and Medical Research, 1st edition (1938)',
  murray1936: 'A. Murray, Monochrome reproduction in photoengraving, J. Franklin Institute 221(6) (1936) 721–744',
  yuleNielsen1951:
    'J. A. C. Yule, W. J. Nielsen, The penetration of light into paper and its effect on halftone reproduction, TAGA Proc. 3 (1951) 65–76',
  saunderson1942:
    'J. L. Saunderson, Calculation of the color of pigmented plastics, J. Opt. Soc. Am. 32(12) (1942) 727–736',
  judd1942:
    'D. B. Judd, Fresnel reflection of diffusely incident light, J. Research Nat. Bureau of Standards 29 (1942) 329–332',
  rubin1985: 'M. Rubin, Optical properties of soda lime silica glasses, Solar Energy Materials 12 (1985) 275–288',
  zhangEtAl2020:
    'X. Zhang, J. Qiu, X. Li, J. Zhao, L. Liu, Complex refractive indices measurements of polymers in visible and near-infrared bands, Applied Optics 59 (2020) 2337–2344',
  nasanen1984:
    'R. Näsänen, Visibility of halftone dot textures, IEEE Trans. Systems, Man, and Cybernetics SMC-14(6) (1984) 920–924',
  lee1980:
    'J.-S. Lee, Digital image enhancement and noise filtering by use of local statistics, IEEE Trans. Pattern Analysis and Machine Intelligence PAMI-2(2) (1980) 165–168',
  immerkaer1996:
    'J. Immerkær, Fast noise variance estimation, Computer Vision and Image Understanding 64(2) (1996) 300–302',
  heSunTang2013:
    'K. He, J. Sun, X. Tang, Guided image filtering, IEEE Trans. Pattern Analysis and Machine Intelligence 35(6) (2013) 1397–1409',
  heSun2015: 'K. He, J. Sun, Fast guided filter, arXiv:1505.00996 (2015)',
  bazarevskyEtAl2019:
    'V. Bazarevsky, Y. Kartynnik, A. Vakunov, K. Raveendran, M. Grundmann, BlazeFace: sub-millisecond neural face detection on mobile GPUs, arXiv:1907.05047 (2019)',
  mediapipe2019:
    'C. Lugaresi et al., MediaPipe: a framework for building perception pipelines, arXiv:1906.08172 (2019); models and model cards of the packages face_detection and selfie_segmentation, Apache-2.0',
  monk2019: 'E. Monk, Monk Skin Tone scale (2019), skintone.google, CC BY 4.0',
  tensorflowLite: 'TensorFlow Lite, schema of model files, version 3 (tensorflow/lite/schema/schema.fbs), Apache-2.0',
  ieee754: 'IEEE Std 754-2019, Floating-point arithmetic',
  zhangEtAl2015:
    'J. Zhang, S. Sclaroff, Z. Lin, X. Shen, B. Price, R. Měch, Minimum barrier salient object detection at 80 FPS, ICCV 2015, 1404–1412',
  jylanki2010:
    'J. Jylänki, A thousand ways to pack the bin: a practical approach to two-dimensional rectangle bin packing, technical report, 2010',
  feketeSchepers2001:
    'S. P. Fekete, J. Schepers, New classes of fast lower bounds for bin packing problems, Mathematical Programming 91 (2001) 11–31',
  ahujaMagnantiOrlin1993:
    'R. K. Ahuja, T. L. Magnanti, J. B. Orlin, Network Flows: Theory, Algorithms, and Applications, Prentice Hall, 1993',
  uicLaserMaterials:
    'University of Illinois Chicago, CADA fab lab, Laser cutting: approved materials, fab.cada.uic.edu/laser-cutting/approved-materials',
  utexasLaserMaterials:
    'University of Texas at Austin, School of Architecture, Prohibited laser cutter materials, wikis.utexas.edu/display/SOAdigitech',
  protohavenLaserMaterials: 'Protohaven, Approved laser material list, protohaven.org/wiki/laser_material_safety',
  commonPractice: 'Common practice in the trade, no source',
} as const satisfies Record<string, string>;

export type SourceKey = keyof typeof SOURCES;
