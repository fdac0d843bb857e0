package elementary

// The constants below are rounded from 80 decimal digits; a test computes each of
// them again with math/big.

const (
	// ln2/32 = stepHi + stepLo; stepHi has 36 bits, so that its product with the
	// number of steps in a double's range is exact.
	stepHi = 0x1.62e42fefa0000p-6
	stepLo = 0x1.cf79abc9e3b3ap-45
	// 32/ln2, rounded.
	stepsPerUnit = 0x1.71547652b82fep+5

	// ln2 = ln2Hi + ln2Lo; ln2Hi has 42 bits, so that its product with an exponent
	// is exact.
	ln2Hi = 0x1.62e42fefa3800p-1
	ln2Lo = 0x1.ef35793c76730p-45
)

var (
	ln10          = double{0x1.26bb1bbb55516p+1, -0x1.f48ad494ea3e9p-53} // ln 10
	rootHalf      = double{0x1.6a09e667f3bcdp-1, -0x1.bdd3413b26456p-55} // sqrt(1/2)
	halfLnTwoPi   = double{0x1.d67f1c864beb5p-1, -0x1.65b5a1b7ff5dfp-55} // ln(2 pi)/2
	twoOverRootPi = double{0x1.20dd750429b6dp+0, 0x1.1ae3a914fed80p-56}  // 2/sqrt(pi)
)

const (
	invRootPi = 0x1.20dd750429b6dp-1 // 1/sqrt(pi)
)

// powersOfTwo[j] is 2^(j/32).
var powersOfTwo = [32]double{
	{0x1.0000000000000p+0, 0x0.0p+0},
	{0x1.059b0d3158574p+0, 0x1.d73e2a475b465p-55},
	{0x1.0b5586cf9890fp+0, 0x1.8a62e4adc610bp-54},
	{0x1.11301d0125b51p+0, -0x1.6c51039449b3ap-54},
	{0x1.172b83c7d517bp+0, -0x1.19041b9d78a76p-55},
	{0x1.1d4873168b9aap+0, 0x1.e016e00a2643cp-54},
	{0x1.2387a6e756238p+0, 0x1.9b07eb6c70573p-54},
	{0x1.29e9df51fdee1p+0, 0x1.612e8afad1255p-55},
	{0x1.306fe0a31b715p+0, 0x1.6f46ad23182e4p-55},
	{0x1.371a7373aa9cbp+0, -0x1.63aeabf42eae2p-54},
	{0x1.3dea64c123422p+0, 0x1.ada0911f09ebcp-55},
	{0x1.44e086061892dp+0, 0x1.89b7a04ef80d0p-59},
	{0x1.4bfdad5362a27p+0, 0x1.d4397afec42e2p-56},
	{0x1.5342b569d4f82p+0, -0x1.07abe1db13cadp-55},
	{0x1.5ab07dd485429p+0, 0x1.6324c054647adp-54},
	{0x1.6247eb03a5585p+0, -0x1.383c17e40b497p-54},
	{0x1.6a09e667f3bcdp+0, -0x1.bdd3413b26456p-54},
	{0x1.71f75e8ec5f74p+0, -0x1.16e4786887a99p-55},
	{0x1.7a11473eb0187p+0, -0x1.41577ee04992fp-55},
	{0x1.82589994cce13p+0, -0x1.d4c1dd41532d8p-54},
	{0x1.8ace5422aa0dbp+0, 0x1.6e9f156864b27p-54},
	{0x1.93737b0cdc5e5p+0, -0x1.75fc781b57ebcp-57},
	{0x1.9c49182a3f090p+0, 0x1.c7c46b071f2bep-56},
	{0x1.a5503b23e255dp+0, -0x1.d2f6edb8d41e1p-54},
	{0x1.ae89f995ad3adp+0, 0x1.7a1cd345dcc81p-54},
	{0x1.b7f76f2fb5e47p+0, -0x1.5584f7e54ac3bp-56},
	{0x1.c199bdd85529cp+0, 0x1.11065895048ddp-55},
	{0x1.cb720dcef9069p+0, 0x1.503cbd1e949dbp-56},
	{0x1.d5818dcfba487p+0, 0x1.2ed02d75b3707p-55},
	{0x1.dfc97337b9b5fp+0, -0x1.1a5cd4f184b5cp-54},
	{0x1.ea4afa2a490dap+0, -0x1.e9c23179c2893p-54},
	{0x1.f50765b6e4540p+0, 0x1.9d3e12dd8a18bp-54},
}

const firstLog = 90

// logs[i] is -ln(c) for the double c nearest to 128/(firstLog+i).
var logs = [93]double{
	{-0x1.68ac83e9c6a15p-2, 0x1.acd8a9145ff44p-57},
	{-0x1.5d5bddf595f31p-2, -0x1.d5f75b9a23ae4p-59},
	{-0x1.522ae0738a3d7p-2, -0x1.3840b263acb43p-56},
	{-0x1.4718dc271c41cp-2, -0x1.d8fb4c14c56eep-56},
	{-0x1.3c25277333183p-2, -0x1.152d81af5713ap-56},
	{-0x1.314f1e1d35ce3p-2, -0x1.22966f61a3c23p-56},
	{-0x1.269621134db91p-2, -0x1.e0efadd9db02ap-56},
	{-0x1.1bf99635a6b95p-2, 0x1.e9575c2124912p-56},
	{-0x1.1178e8227e47ap-2, -0x1.b8ce2d07f1cb7p-56},
	{-0x1.07138604d5864p-2, 0x1.24e912b16ec8bp-60},
	{-0x1.f991c6cb3b37ap-3, -0x1.ecca0cdf30143p-58},
	{-0x1.e530effe71013p-3, 0x1.f7627ef82f3f0p-57},
	{-0x1.d1037f2655e7bp-3, 0x1.3f3adb7b71cbcp-58},
	{-0x1.bd087383bd8aap-3, 0x1.1165504ad749ep-59},
	{-0x1.a93ed3c8ad9e5p-3, -0x1.bcafa9de97202p-57},
	{-0x1.95a5adcf70182p-3, -0x1.8a16283fdbd1cp-57},
	{-0x1.823c16551a3c0p-3, -0x1.6dcd318f4187ep-57},
	{-0x1.6f0128b756ab9p-3, 0x1.37967087859b9p-59},
	{-0x1.5bf406b543db0p-3, 0x1.1f5b44c0df7f7p-61},
	{-0x1.4913d8333b563p-3, 0x1.0d5604930f137p-58},
	{-0x1.365fcb0159014p-3, -0x1.bea08d2dca256p-57},
	{-0x1.23d712a49c201p-3, -0x1.51c7e9efae297p-57},
	{-0x1.1178e8227e47ap-3, 0x1.0e63a5f01c693p-58},
	{-0x1.fe89139dbd565p-4, 0x1.ac9f4215f9394p-58},
	{-0x1.da7276384469ep-4, -0x1.401fa71733017p-58},
	{-0x1.b6ac88dad5b1dp-4, 0x1.002bf768e52d0p-58},
	{-0x1.9335e5d594988p-4, 0x1.478a85704ccb7p-58},
	{-0x1.700d30aeac0e8p-4, -0x1.a36a677b4c8b2p-59},
	{-0x1.4d3115d207eacp-4, -0x1.da7d0b1e10b2fp-60},
	{-0x1.2aa04a44717a1p-4, -0x1.aea2c72d05c08p-58},
	{-0x1.08598b59e3a06p-4, 0x1.dd7009902bf32p-58},
	{-0x1.ccb73cdddb2d0p-5, 0x1.e48fb0500efd5p-59},
	{-0x1.894aa149fb34bp-5, 0x1.2ba0b44cfaee5p-59},
	{-0x1.466aed42de3f9p-5, 0x1.9badefe942718p-60},
	{-0x1.0415d89e74440p-5, -0x1.c05cf1d753621p-59},
	{-0x1.8492528c8cac5p-6, 0x1.d192d0619fa68p-60},
	{-0x1.0205658935837p-6, -0x1.27c8e8416e717p-60},
	{-0x1.010157588de69p-7, -0x1.46662d417cecep-62},
	{0x0.0p+0, 0x0.0p+0},
	{0x1.fe02a6b106799p-8, -0x1.e44b7e3711e7fp-67},
	{0x1.fc0a8b0fc03c4p-7, -0x1.83092c5964281p-62},
	{0x1.7b91b07d5b126p-6, -0x1.6d80ab38e9430p-62},
	{0x1.f829b0e7832f8p-6, 0x1.33e3f04f1ef25p-60},
	{0x1.39e87b9febd68p-5, -0x1.5bfa937f551b7p-59},
	{0x1.77458f632dcffp-5, 0x1.8d3ca87b92968p-63},
	{0x1.b42dd711971b9p-5, 0x1.0a34531f67db5p-59},
	{0x1.f0a30c01162a8p-5, 0x1.85f325c5bbacdp-59},
	{0x1.16536eea37ae3p-4, 0x1.2189705cf74cap-58},
	{0x1.341d7961bd1d0p-4, -0x1.3599f227becbbp-58},
	{0x1.51b073f06183cp-4, -0x1.5b61c65e5741ap-58},
	{0x1.6f0d28ae56b4ep-4, -0x1.20db323097324p-59},
	{0x1.8c345d6319b23p-4, -0x1.294d2f5668495p-58},
	{0x1.a926d3a4ad562p-4, -0x1.d7a16eab1e2adp-59},
	{0x1.c5e548f5bc743p-4, 0x1.2eb0bf7c0b0d9p-59},
	{0x1.e27076e2af2eap-4, -0x1.61578001e015ap-60},
	{0x1.fec9131dbeabcp-4, -0x1.5746b9981b36cp-58},
	{0x1.0d77e7cd08e5bp-3, 0x1.9a5dc5e9030adp-57},
	{0x1.1b72ad52f67a2p-3, -0x1.fbe7ee5c69946p-57},
	{0x1.29552f81ff521p-3, 0x1.301771c407dc0p-57},
	{0x1.371fc201e8f75p-3, 0x1.e6cb62af18a02p-62},
	{0x1.44d2b6ccb7d1cp-3, 0x1.7d3d950f87e23p-59},
	{0x1.526e5e3a1b438p-3, -0x1.546ff8a470d3ap-57},
	{0x1.5ff3070a793d6p-3, -0x1.bc60efafc6f6cp-58},
	{0x1.6d60fe719d21bp-3, 0x1.d551d97132e87p-57},
	{0x1.7ab890210d907p-3, -0x1.1072534a57e7dp-57},
	{0x1.87fa06520c911p-3, -0x1.9f7fdbfa08d9ap-57},
	{0x1.9525a9cf456b6p-3, -0x1.26fb3e2b1d1dap-57},
	{0x1.a23bc1fe2b561p-3, 0x1.24dc46c1ea664p-57},
	{0x1.af3c94e80bff3p-3, 0x1.a3398064df33ep-57},
	{0x1.bc286742d8cd4p-3, 0x1.cfce744870f57p-58},
	{0x1.c8ff7c79a9a20p-3, -0x1.4f689f8434011p-57},
	{0x1.d5c216b4fbb94p-3, -0x1.a37794d03657dp-58},
	{0x1.e27076e2af2e8p-3, -0x1.61578001e015ep-59},
	{0x1.ef0adcbdc5935p-3, 0x1.e8637950dc20dp-57},
	{0x1.fb9186d5e3e29p-3, 0x1.355519b0de535p-57},
	{0x1.0402594b4d041p-2, -0x1.08ec217a5022dp-57},
	{0x1.0a324e27390e2p-2, 0x1.bdcfde8061c03p-56},
	{0x1.1058bf9ae4ad4p-2, 0x1.3f415699663ecp-63},
	{0x1.1675cababa60fp-2, 0x1.ce63eab883727p-61},
	{0x1.1c898c16999fbp-2, 0x1.9f1a39d500e3cp-56},
	{0x1.22941fbcf7966p-2, -0x1.dbd7ac258a2bdp-58},
	{0x1.2895a13de86a4p-2, 0x1.7ad24c13f040fp-56},
	{0x1.2e8e2bae11d31p-2, -0x1.1e99b72bd7bf2p-57},
	{0x1.347dd9a987d56p-2, -0x1.16ea62c048cfbp-56},
	{0x1.3a64c556945eap-2, 0x1.cbcd735d03424p-60},
	{0x1.404308686a7e4p-2, -0x1.f79f6c1059cdbp-57},
	{0x1.4618bc21c5ec2p-2, -0x1.7a42642661c62p-61},
	{0x1.4be5f957778a1p-2, -0x1.4b366b609027ap-58},
	{0x1.51aad872df82ep-2, -0x1.d8db0a7cc1543p-56},
	{0x1.5767717455a6cp-2, -0x1.fb2a49af933e8p-57},
	{0x1.5d1bdbf5809cap-2, -0x1.7dc9c7c23801fp-56},
	{0x1.62c82f2b9c796p-2, -0x1.090a0dd59fe35p-58},
	{0x1.686c81e9b14adp-2, 0x1.710af840538e3p-56},
}
