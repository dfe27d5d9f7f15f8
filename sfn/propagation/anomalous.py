"""Beyond the horizon by other ways than diffraction: ducts and reflecting layers, tropospheric scatter.

ITU-R P.1812 sections 4.4 and 4.5. Symbols are the Recommendation's: distances in km, angles in mrad, f in GHz.
"""

import math

# Coupling into a duct over sea counts only this near the coast and with this much of the path over sea, eq. (49).
GREATEST_COAST_KM = 5.0
LEAST_SEA_RATIO = 0.75


def scatter_loss(*, d: float, theta: float, frequency_mhz: float, time_pct: float, N0: float) -> float:
    """Tropospheric scatter Lbs, eq. (44) and (45). [dB]

    Examples
    --------
    >>> print(f"{scatter_loss(d=100.0, theta=10.0, frequency_mhz=600.0, time_pct=50.0, N0=325.0):.6f}")
    180.850276
    """
    f = frequency_mhz / 1000.0
    Lf = 25.0 * math.log10(f) - 2.5 * math.log10(f / 2.0) ** 2
    rare = 10.125 * math.log10(50.0 / time_pct) ** 0.7
    return float(190.1 + Lf + 20.0 * math.log10(d) + 0.573 * theta - 0.15 * N0 - rare)


def site_shielding(*, theta: float, dl: float, f: float) -> float:
    """Loss of the terrain round one antenna before the duct, eq. (48). [dB]"""
    above = theta - 0.1 * dl
    if above <= 0.0:
        return 0.0
    return float(20.0 * math.log10(1.0 + 0.361 * above * math.sqrt(f * dl)) + 0.264 * above * f ** (1 / 3))


def sea_coupling(*, dc: float, dl: float, hs: float, omega: float) -> float:
    """Gain of one antenna near the coast into a duct over sea, not above zero, eq. (49). [dB]"""
    if dc > GREATEST_COAST_KM or dc > dl or omega < LEAST_SEA_RATIO:
        return 0.0
    return -3.0 * math.exp(-0.25 * dc * dc) * (1.0 + math.tanh(0.07 * (50.0 - hs)))


def ducting_terms(
    *, d: float, dlt: float, dlr: float, dct: float, dcr: float, dlm: float, hts: float, hrs: float, hte: float,
    hre: float, hm: float, theta_t: float, theta_r: float, omega: float, ae: float, beta0: float,
    frequency_mhz: float, time_pct: float,
) -> dict[str, float]:  # fmt: skip
    """Ducting and layer reflection: `Lba` and everything it is made of, eq. (46) to (56). [dB]

    Returns
    -------
    terms : dict
        `Alf`, `Ast`, `Asr`, `Act`, `Acr`, `Af`, `gamma_d`, `theta1`, `dI`, `tau`, `alpha`, `mu2`, `mu3`, `beta`,
        `Gamma`, `Ap`, `Adp` and `Lba`.
    """
    f = frequency_mhz / 1000.0
    Alf = 45.375 - 137.0 * f + 92.5 * f * f if f < 0.5 else 0.0  # (47a)
    Ast, Asr = site_shielding(theta=theta_t, dl=dlt, f=f), site_shielding(theta=theta_r, dl=dlr, f=f)
    Act, Acr = sea_coupling(dc=dct, dl=dlt, hs=hts, omega=omega), sea_coupling(dc=dcr, dl=dlr, hs=hrs, omega=omega)
    Af = 102.45 + 20.0 * math.log10(f) + 20.0 * math.log10(dlt + dlr) + Alf + Ast + Asr + Act + Acr  # (47)
    gamma_d = 5e-5 * ae * f ** (1 / 3)  # (51)
    theta1 = 1000.0 * d / ae + min(theta_t, 0.1 * dlt) + min(theta_r, 0.1 * dlr)  # (52)
    dI = min(d - dlt - dlr, 40.0)  # (56a)
    mu3 = math.exp(-4.6e-5 * (hm - 10.0) * (43.0 + 6.0 * dI)) if hm > 10.0 else 1.0  # (56)
    tau = 1.0 - math.exp(-(4.12e-4 * dlm**2.41))  # (3)
    alpha = max(-0.6 - 3.5e-9 * d**3.1 * tau, -3.4)  # (55a)
    mu2 = min((500.0 / ae * d**2 / (math.sqrt(hte) + math.sqrt(hre)) ** 2) ** alpha, 1.0)  # (55)
    beta = beta0 * mu2 * mu3  # (54)
    log_beta = math.log10(beta)
    decay = (9.51 - 4.8 * log_beta + 0.198 * log_beta**2) * 1e-6 * d**1.13
    Gamma = 1.076 / (2.0058 - log_beta) ** 1.012 * math.exp(-decay)  # (53a)
    Ap = -12.0 + (1.2 + 3.7e-3 * d) * math.log10(time_pct / beta) + 12.0 * (time_pct / beta) ** Gamma  # (53)
    Adp = gamma_d * theta1 + Ap  # (50)
    return {
        "Alf": Alf, "Ast": Ast, "Asr": Asr, "Act": Act, "Acr": Acr, "Af": Af, "gamma_d": gamma_d, "theta1": theta1,
        "dI": dI, "tau": tau, "alpha": alpha, "mu2": mu2, "mu3": mu3, "beta": beta, "Gamma": Gamma, "Ap": Ap,
        "Adp": Adp, "Lba": Af + Adp,
    }  # fmt: skip
