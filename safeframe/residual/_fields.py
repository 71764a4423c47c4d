"""Polynomials over GF(2) as integers: bit i is the coefficient of x^i."""

from __future__ import annotations

from collections.abc import Iterator


def times(a: int, b: int, modulus: int) -> int:
    """Return a * b modulo ``modulus``; a must be reduced."""
    top = modulus.bit_length() - 1
    total = 0
    while b:
        if b & 1:
            total ^= a
        a <<= 1
        if a >> top:
            a ^= modulus
        b >>= 1
    return total


def power(base: int, exponent: int, modulus: int) -> int:
    """Return base^exponent modulo ``modulus``; base must be reduced."""
    result = 1
    while exponent:
        if exponent & 1:
            result = times(result, base, modulus)
        base = times(base, base, modulus)
        exponent >>= 1
    return result


def quotient(a: int, b: int) -> tuple[int, int]:
    """Return quotient and remainder of a divided by b."""
    result = 0
    while (shift := a.bit_length() - b.bit_length()) >= 0:
        result |= 1 << shift
        a ^= b << shift
    return result, a


def factors(polynomial: int) -> list[tuple[int, int]]:
    """Return the irreducible factors with their exponents, smallest first, by trial division."""
    found: list[tuple[int, int]] = []
    divisor = 2
    while 2 * (divisor.bit_length() - 1) <= polynomial.bit_length() - 1:
        exponent = 0
        while True:
            result, rest = quotient(polynomial, divisor)
            if rest:
                break
            polynomial, exponent = result, exponent + 1
        if exponent:
            found.append((divisor, exponent))
        divisor += 1
    if polynomial > 1:
        found.append((polynomial, 1))
    return found


def _primes(number: int) -> Iterator[int]:
    """Yield the prime factors of ``number``, each once."""
    divisor = 2
    while divisor * divisor <= number:
        if number % divisor == 0:
            yield divisor
            while number % divisor == 0:
                number //= divisor
        divisor += 1
    if number > 1:
        yield number


def order(element: int, irreducible: int) -> int:
    """Return the smallest k > 0 with element^k = 1 modulo an irreducible polynomial."""
    degree = irreducible.bit_length() - 1
    result = (1 << degree) - 1
    for prime in _primes(result):
        while result % prime == 0 and power(element, result // prime, irreducible) == 1:
            result //= prime
    return result


def irreducible_orbits(irreducible: int) -> tuple[int, list[int]]:
    """Return the order of x and one element of each orbit of multiplication by x (not 0's)."""
    degree = irreducible.bit_length() - 1
    period = order(2 if degree > 1 else 1, irreducible)
    count = ((1 << degree) - 1) // period
    candidate = 2 if degree > 1 else 1
    while order(candidate, irreducible) != (1 << degree) - 1:
        candidate += 1
    # The powers 0 .. count - 1 of a primitive element lie in different cosets of the powers of x.
    return period, [power(candidate, exponent, irreducible) for exponent in range(count)]
