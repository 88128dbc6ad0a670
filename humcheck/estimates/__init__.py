"""What several analyzers need, made once for each take: lines, responses, tones, noise, with uncertainties."""
